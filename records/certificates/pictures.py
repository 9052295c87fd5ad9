"""The pictures of a certificate: each run's record as vectors, as it was read and judged; pulses by their phase."""

from __future__ import annotations

from typing import Any

from records.charts import pattern_of, pattern_svg, pictured_files, svg_of
from records.models import Evaluation, Record

MOST_PICTURES = 6  # of the files of one run; the others are in the laboratory with their digests


def pictures_of(document: dict[str, Any]) -> dict[str, str]:
    """Return an SVG text by run number, patterns by `pattern_key`; a run whose arrays are not there has none."""
    numbers = {run["evaluation"]["id"]: run["number"] for run in document["runs"]}
    rows = Evaluation.objects.select_related("record", "run__step").filter(pk__in=numbers)
    pictures: dict[str, str] = {}
    for row in rows:
        files: list[Record | None] = list(pictured_files(row)[:MOST_PICTURES]) or [None]
        for place, file in enumerate(files, start=1):
            if file is not None and file.is_of_another_customer:
                continue
            drawn = svg_of(row, file)
            if drawn is not None:
                pictures[picture_key(numbers[row.pk], place if file else 0)] = drawn
    patterns = {numbers[row.pk]: pattern_of(row) for row in rows}
    return pictures | {pattern_key(number): pattern_svg(one) for number, one in patterns.items() if one is not None}


def picture_key(number: str, place: int = 0) -> str:
    """Return under which name the picture of a run stands, or that of one of its files by its number, from 1."""
    return f"{number}/{place}" if place else number


def pattern_key(number: str) -> str:
    """Return under which name the phase-resolved pattern of a run stands among the pictures."""
    return f"{number}/pattern"
