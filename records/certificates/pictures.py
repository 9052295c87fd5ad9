"""The pictures of a certificate: each run's record as vectors, as it was read and judged; pulses by their phase."""

from __future__ import annotations

from typing import Any

from records.charts import pattern_of, pattern_svg, svg_of
from records.models import Evaluation


def pictures_of(document: dict[str, Any]) -> dict[str, str]:
    """Return an SVG text by run number, patterns by `pattern_key`; a run whose arrays are not there has none."""
    numbers = {run["evaluation"]["id"]: run["number"] for run in document["runs"]}
    rows = Evaluation.objects.select_related("record", "run__step").filter(pk__in=numbers)
    drawn = {numbers[row.pk]: svg_of(row) for row in rows}
    pictures = {number: picture for number, picture in drawn.items() if picture is not None}
    patterns = {numbers[row.pk]: pattern_of(row) for row in rows}
    return pictures | {pattern_key(number): pattern_svg(one) for number, one in patterns.items() if one is not None}


def pattern_key(number: str) -> str:
    """Return under which name the phase-resolved pattern of a run stands among the pictures."""
    return f"{number}/pattern"
