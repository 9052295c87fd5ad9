"""What a nameplate holds, for forms and pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from schedules.rules import FIELDS_BY_NAME, RATING_FIELDS, RatingField

ORDER_OWNED = frozenset(
    {"standards", "decision_rule", "guard_factor", "discharge_procedure", "hold_points", "witness_points"}
)
"""Ratings that the order settles, not the nameplate."""

NAMED_ELSEWHERE = frozenset({"equipment", "serial"})
"""Ratings that are fields of the unit itself."""


def nameplate_fields(equipment: str) -> tuple[RatingField, ...]:
    """Return the rating fields that a unit of this kind has, in the order of a form."""
    left_out = ORDER_OWNED | NAMED_ELSEWHERE
    return tuple(field for field in RATING_FIELDS if equipment in field.kinds and field.name not in left_out)


@dataclass(frozen=True)
class RatingLine:
    """One line of a nameplate as a page shows it."""

    label: str
    value: Any
    unit: str


def rating_lines(ratings: dict[str, Any]) -> list[RatingLine]:
    """Return what is stated on the nameplate, in the order of the fields, with units."""
    lines = []
    for field in RATING_FIELDS:
        if field.name in ratings and field.name not in NAMED_ELSEWHERE:
            lines.append(RatingLine(field.label, value_in_words(field, ratings[field.name]), field.unit))
    return lines


def value_in_words(field: RatingField, value: Any) -> Any:
    """Return a rating as a reader sees it: words without underscores, branches with labels and units."""
    if field.form == "branches":
        return "; ".join(_branch(place, branch) for place, branch in enumerate(value, start=1))
    if field.form in ("choice", "choices", "texts"):
        words = value if isinstance(value, list | tuple) else [value]
        return ", ".join(word if field.form == "texts" else word.replace("_", " ") for word in words)
    return value


def _branch(place: int, branch: dict[str, float]) -> str:
    parts = [
        f"{FIELDS_BY_NAME[name].label.lower()} {number:g} {FIELDS_BY_NAME[name].unit}".strip()
        for name, number in branch.items()
    ]
    return f"branch {place}: {', '.join(parts)}"
