"""Who sees what is decided in one place: pages and API start from `visible_to`."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("web", "api", "portal")
VIEWS = sorted(
    p
    for app in ("labsite", "equipment", "schedules", "records")
    for p in (ROOT / app).rglob("*.py")
    if set(ROOMS) & set(p.relative_to(ROOT).parts) and "migrations" not in p.parts
)
OTHER_OBJECTS = re.compile(r"\.objects\b(?!\s*\.(?:visible_to|none)\()")  # `none()` reads nothing
ARITHMETIC_OF_QUERIES = re.compile(r"\.filter\(|\.exclude\(|transaction\.atomic|\.save\(|\.delete\(")


@pytest.mark.parametrize("path", VIEWS, ids=lambda p: str(p.relative_to(ROOT)))
def test_pages_read_through_visible_to(path):
    assert OTHER_OBJECTS.findall(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", VIEWS, ids=lambda p: str(p.relative_to(ROOT)))
def test_pages_neither_query_nor_write_by_themselves(path):
    assert ARITHMETIC_OF_QUERIES.findall(path.read_text(encoding="utf-8")) == []
