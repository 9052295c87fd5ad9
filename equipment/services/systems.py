"""Assigns measuring systems and ends them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError

from equipment.models import Instrument, MeasuringSystem, SystemComponent
from equipment.services.rights import require_right
from labsite.ledger.services import record_entry, writing


def assign_system(
    *,
    name: str,
    quantity: str,
    instruments: Iterable[Instrument],
    relative_uncertainty_pct: float,
    assigned_on: date,
    scale_factor: float = 1.0,
    coverage_factor: float = 2.0,
    by: Any,
) -> MeasuringSystem:
    """Make one measuring system of several instruments. A changed component means a new system under a new name.

    Refuses a taken name, a system without instruments, and numbers out of range.
    """
    require_right("assign_system", by)
    components = list(dict.fromkeys(instruments))
    if not components:
        raise ValidationError({"instruments": "A measuring system needs at least one instrument."})
    if not (relative_uncertainty_pct > 0 and coverage_factor > 0 and scale_factor != 0):
        raise ValidationError("The uncertainty and the coverage factor must be above zero, the scale factor not zero.")
    system = MeasuringSystem(
        name=name.strip(),
        quantity=quantity,
        scale_factor=scale_factor,
        relative_uncertainty_pct=relative_uncertainty_pct,
        coverage_factor=coverage_factor,
        assigned_on=assigned_on,
    )
    with writing():
        system.full_clean()
        system.save(force_insert=True)
        SystemComponent.objects.bulk_create(SystemComponent(system=system, instrument=item) for item in components)
        names = ("name", "quantity", "scale_factor", "relative_uncertainty_pct", "coverage_factor", "assigned_on")
        changes: dict[str, Any] = {field: [None, getattr(system, field)] for field in names}
        changes["instruments"] = [None, [item.identifier for item in components]]
        record_entry(action="equipment.assign_system", subject=system, changes=changes, by=by)
    return system


def end_system(*, system: MeasuringSystem, on: date, reason: str, by: Any) -> MeasuringSystem:
    """End a measuring system; runs that used it keep it. Refuses without a reason, and a day before it was assigned."""
    require_right("end_system", by)
    if not reason.strip():
        raise ValidationError({"reason": "Say why; the reason stays in the history."})
    with writing():
        row = MeasuringSystem.objects.select_for_update().get(pk=system.pk)
        if row.ended_on is not None:
            return row
        if on < row.assigned_on:
            raise ValidationError({"on": f"{row.name} was assigned on {row.assigned_on}; it cannot end before."})
        row.ended_on = on
        row.save(update_fields=["ended_on"])
        changes = {"ended_on": [None, on]}
        record_entry(action="equipment.end_system", subject=row, changes=changes, reason=reason.strip(), by=by)
    return row
