"""What a nameplate holds, for forms and pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from schedules.rules import RATING_FIELDS, RatingField

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
            value = ratings[field.name]
            lines.append(RatingLine(field.label, ", ".join(value) if isinstance(value, list) else value, field.unit))
    return lines
