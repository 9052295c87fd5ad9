"""Bays: entering and correcting a test area with what its sources and its impulse generator can do."""

from __future__ import annotations

import math
from typing import Any

from labsite.ledger.services import change_fields, create_with_entry, writing
from schedules.models import Bay
from schedules.services.refusals import Refusal, ScheduleRefused
from schedules.services.rights import require

NEEDED = ("source_kv", "source_kva", "frequency_hz", "residual_discharge_pc")
PAIRS = {
    ("generator_kv", "generator_kj"): "An impulse generator has a voltage and an energy: give both, or neither.",
    ("direct_kv", "direct_ma"): "A direct-voltage source has a voltage and a current: give both, or neither.",
}
"""Figures of what a bay may lack as a whole, and what half of it is told."""

OPTIONAL = tuple(name for pair in PAIRS for name in pair)
EDITABLE = ("name", *NEEDED, *OPTIONAL)


def enter_bay(
    *,
    name: str,
    source_kv: float,
    source_kva: float,
    frequency_hz: float = 50,
    residual_discharge_pc: float = 5,
    generator_kv: float | None = None,
    generator_kj: float | None = None,
    direct_kv: float | None = None,
    direct_ma: float | None = None,
    by: Any,
) -> Bay:
    """Enter a bay; refuses a name that is missing or taken, figures that no source has, and half a source."""
    require(by, "enter_bay")
    values: dict[str, Any] = {
        "name": name.strip(),
        "source_kv": source_kv,
        "source_kva": source_kva,
        "frequency_hz": frequency_hz,
        "residual_discharge_pc": residual_discharge_pc,
        "generator_kv": generator_kv,
        "generator_kj": generator_kj,
        "direct_kv": direct_kv,
        "direct_ma": direct_ma,
    }
    _check(values)
    with writing():
        _refuse_taken(values["name"])
        return create_with_entry(instance=Bay(**values), action="bay.entered", by=by)


def correct_bay(*, bay: Bay, version: int, changes: dict[str, Any], reason: str, by: Any) -> Bay:
    """Change a bay as its editor saw it at `version`; runs and plans that were made keep what they said.

    Refuses what `enter_bay` refuses, fields that a bay does not have, and an empty reason. Raises `StaleEdit` when the
    bay moved on.
    """
    require(by, "correct_bay")
    unknown = sorted(set(changes) - set(EDITABLE))
    if unknown:
        raise ScheduleRefused.of(f"A bay has no field to change named {', '.join(unknown)}.")
    if not reason.strip():
        raise ScheduleRefused.of("Say why the bay changes.", "reason")
    changes = {name: value.strip() if isinstance(value, str) else value for name, value in changes.items()}
    with writing():
        row = Bay.objects.select_for_update().get(pk=bay.pk)
        _check({name: changes.get(name, getattr(row, name)) for name in EDITABLE})
        if changes.get("name", row.name) != row.name:
            _refuse_taken(changes["name"])
        return change_fields(
            instance=row, version=version, changes=changes, action="bay.corrected", reason=reason.strip(), by=by
        )


def _refuse_taken(name: str) -> None:
    if Bay.objects.filter(name=name).exists():
        raise ScheduleRefused.of(f"There is a bay {name} already.", "name")


def _check(values: dict[str, Any]) -> None:
    stated = [field for field in OPTIONAL if values[field] is not None]
    found = [
        Refusal(field, "Give a number greater than nought.")
        for field in (*NEEDED, *stated)
        if not (values[field] is not None and math.isfinite(values[field]) and values[field] > 0)
    ]
    if not values["name"] or len(values["name"]) > 60:
        found.append(Refusal("name", "Give the bay a name of up to 60 characters."))
    for pair, words in PAIRS.items():
        missing = [field for field in pair if values[field] is None]
        if len(missing) == 1:
            found.append(Refusal(missing[0], words))
    if found:
        raise ScheduleRefused(*found)
