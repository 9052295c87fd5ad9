"""Bays: entering a test area with what its source can do."""

from __future__ import annotations

import math
from typing import Any

from labsite.ledger.services import create_with_entry, writing
from schedules.models import Bay
from schedules.services.refusals import Refusal, ScheduleRefused
from schedules.services.rights import require


def enter_bay(
    *,
    name: str,
    source_kv: float,
    source_kva: float,
    frequency_hz: float = 50,
    residual_discharge_pc: float = 5,
    by: Any,
) -> Bay:
    """Enter a bay; refuses a name that is missing or taken, and figures that no source has."""
    require(by, "enter_bay")
    name = name.strip()
    figures = {
        "source_kv": source_kv,
        "source_kva": source_kva,
        "frequency_hz": frequency_hz,
        "residual_discharge_pc": residual_discharge_pc,
    }
    found = [
        Refusal(field, "Give a number greater than nought.")
        for field, value in figures.items()
        if not (math.isfinite(value) and value > 0)
    ]
    if not name or len(name) > 60:
        found.append(Refusal("name", "Give the bay a name of up to 60 characters."))
    if found:
        raise ScheduleRefused(*found)
    with writing():
        if Bay.objects.filter(name=name).exists():
            raise ScheduleRefused.of(f"There is a bay {name} already.", "name")
        return create_with_entry(instance=Bay(name=name, **figures), action="bay.entered", by=by)
