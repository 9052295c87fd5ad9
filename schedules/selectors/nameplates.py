"""What a nameplate holds, for forms and pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from schedules.rules import FIELDS_BY_NAME, RATING_FIELDS, RatingField

ORDER_OWNED = frozenset(
    {"standards", "decision_rule", "guard_factor", "statements"}
    | {"discharge_procedure", "hold_points", "witness_points"}
)
"""Ratings that the order settles, not the nameplate."""

NAMED_ELSEWHERE = frozenset({"equipment", "serial"})
"""Ratings that are fields of the unit itself."""


def nameplate_fields(equipment: str) -> tuple[RatingField, ...]:
    """Return the rating fields that a unit of this kind has, in the order of a form."""
    left_out = ORDER_OWNED | NAMED_ELSEWHERE
    return tuple(field for field in RATING_FIELDS if equipment in field.kinds and field.name not in left_out)


PARTS: tuple[tuple[str, frozenset[str]], ...] = (
    (
        "Voltages and levels",
        frozenset(
            {
                "highest_voltage_kv",
                "rated_voltage_kv",
                "capacitor_voltage_kv",
                "power_frequency_kv",
                "lightning_impulse_kv",
                "frequency_hz",
                "phases",
                "insulation_series",
                "neutral_earthing",
                "insulation_medium",
                "transformer_type",
                "type_designation",
            }
        ),
    ),
    (
        "Limits and tolerances, from the order or your copy",
        frozenset(
            {
                "discharge_test_voltage_kv",
                "charge_limit_pc",
                "terminal_to_case_kv",
                "direct_withstand_kv",
                "turn_to_turn_kv",
                "inter_turn_kv",
                "capacitance_change_limit_pct",
                "capacitance_tolerance_pct",
                "inductance_tolerance_pct",
                "tuning_tolerance_pct",
                "quality_factor_tolerance_pct",
                "dissipation_factor_limit",
                "temperature_rise_limit_k",
                "loss_limit_w",
                "reference_temperature_c",
            }
        ),
    ),
    (
        "How and where it is tested",
        frozenset(
            {
                "tests",
                "occasion",
                "terminal_test",
                "withstand_test",
                "impulse_polarity",
                "source_frequency_hz",
                "installation",
                "secondary_wiring",
                "discharge_device",
                "test_capacitance_nf",
                "discharge_path_m",
                "altitude_m",
                "altitude_levels",
            }
        ),
    ),
)
"""Parts of a nameplate's form; what is in none of them stands under "Other ratings of the plate"."""

OTHER_PART = "Other ratings of the plate"


def nameplate_parts(equipment: str) -> list[tuple[str, list[str]]]:
    """Return the parts of a nameplate's form with the names of their fields, none of them empty."""
    names = [field.name for field in nameplate_fields(equipment)]
    known = frozenset[str]().union(*(part for _, part in PARTS))
    first, *rest = PARTS
    others = (OTHER_PART, frozenset(names) - known)
    parts = [(title, [name for name in names if name in part]) for title, part in (first, others, *rest)]
    return [(title, found) for title, found in parts if found]


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
