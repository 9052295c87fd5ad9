"""The house style's sizes, counted so that nobody has to."""

import ast
import statistics
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
APPS = ("labsite", "equipment", "schedules", "records")
SOURCES = sorted(p for app in APPS for p in (ROOT / app).rglob("*.py") if "migrations" not in p.parts)
TESTS = sorted((ROOT / "tests").rglob("*.py"))
TEMPLATES = sorted(p for app in APPS for p in (ROOT / app).rglob("templates/**/*.html"))
JUNK = {"core", "common", "utils", "helpers", "misc", "manager2"}


def _lines(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


def _functions(path: Path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def test_no_module_is_over_600_lines():
    assert [str(p.relative_to(ROOT)) for p in SOURCES if _lines(p) > 600] == []


def test_nine_in_ten_modules_are_at_most_350_lines():
    assert statistics.quantiles([_lines(p) for p in SOURCES], n=10)[-1] <= 350


def test_no_test_file_is_over_800_lines():
    assert [str(p.relative_to(ROOT)) for p in TESTS if _lines(p) > 800] == []


def test_no_function_is_over_80_lines():
    long = [
        f"{p.relative_to(ROOT)}:{f.name}" for p in SOURCES for f in _functions(p) if f.end_lineno - f.lineno + 1 > 80
    ]
    assert long == []


def test_no_template_is_over_150_lines():
    assert [str(p.relative_to(ROOT)) for p in TEMPLATES if _lines(p) > 150] == []


def test_no_drawer_for_odds_and_ends():
    assert [str(p.relative_to(ROOT)) for p in SOURCES if p.stem in JUNK or JUNK & set(p.parts)] == []


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_module_says_what_it_is_for(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert not tree.body or ast.get_docstring(tree), f"{path.name} opens without a sentence"
