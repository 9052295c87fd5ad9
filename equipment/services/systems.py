"""Assigns measuring systems and ends them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone

from equipment.models import Instrument, MeasuringSystem, PerformanceCheck, SystemBudget, SystemComponent
from equipment.selectors.budgets import budget_draft, statement_of
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
    """Make one measuring system of several instruments.

    Refuses a taken name, a system without instruments, and numbers out of range. A changed component is a new
    assignment of the same name: `reassign_system`.
    """
    require_right("assign_system", by)
    return _assigned(
        MeasuringSystem(
            name=name.strip(),
            quantity=quantity,
            scale_factor=scale_factor,
            relative_uncertainty_pct=relative_uncertainty_pct,
            coverage_factor=coverage_factor,
            assigned_on=assigned_on,
        ),
        instruments,
        by,
    )


def _assigned(system: MeasuringSystem, instruments: Iterable[Instrument], by: Any) -> MeasuringSystem:
    components = list(dict.fromkeys(instruments))
    if not components:
        raise ValidationError({"instruments": "A measuring system needs at least one instrument."})
    numbers = (system.relative_uncertainty_pct, system.coverage_factor)
    if not (all(math.isfinite(number) and number > 0 for number in numbers) and system.scale_factor):
        raise ValidationError("The uncertainty and the coverage factor must be above zero, the scale factor not zero.")
    with writing():
        system.full_clean()
        system.save(force_insert=True)
        SystemComponent.objects.bulk_create(SystemComponent(system=system, instrument=item) for item in components)
        names = ("name", "quantity", "scale_factor", "relative_uncertainty_pct", "coverage_factor", "assigned_on")
        changes: dict[str, Any] = {field: [None, getattr(system, field)] for field in names}
        changes["instruments"] = [None, [item.identifier for item in components]]
        changes["assignment"] = [None, system.assignment]
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


def reassign_system(
    *,
    system: MeasuringSystem,
    instruments: Iterable[Instrument],
    relative_uncertainty_pct: float,
    assigned_on: date,
    reason: str,
    scale_factor: float = 1.0,
    coverage_factor: float = 2.0,
    by: Any,
) -> MeasuringSystem:
    """End an assignment and begin the next one of the same name, with other components, factor or uncertainty.

    Runs that used the old one keep it. Refuses without a reason, one that ended, and a day before it began.
    """
    require_right("assign_system", by)
    with writing():
        held = MeasuringSystem.objects.select_for_update().get(pk=system.pk)
        if held.ended_on is not None:
            raise ValidationError(f"This assignment ended on {held.ended_on}; begin from the one after it.")
        if assigned_on > timezone.localdate():
            raise ValidationError({"assigned_on": f"The day {assigned_on} has not come yet."})
        end_system(system=held, on=assigned_on, reason=reason, by=by)
        following = MeasuringSystem(
            name=held.name,
            assignment=held.assignment + 1,
            replaces=held,
            quantity=held.quantity,
            scale_factor=scale_factor,
            relative_uncertainty_pct=relative_uncertainty_pct,
            coverage_factor=coverage_factor,
            assigned_on=assigned_on,
        )
        return _assigned(following, instruments, by)


def check_performance(
    *, system: MeasuringSystem, scale_factor: float, on: date, method: str, allowed_pct: float = 1.0, by: Any
) -> PerformanceCheck:
    """Record a check of the scale factor against the assigned one.

    Satisfied where the two differ by at most `allowed_pct`: 1 % as IEC 60060-2 asks of a performance check (from
    memory). One that is not says that the system may not be used before it was calibrated again.
    """
    require_right("check_system", by)
    if not (math.isfinite(scale_factor) and scale_factor and math.isfinite(allowed_pct) and allowed_pct > 0):
        raise ValidationError("The scale factor must be a number other than zero, what is allowed a number above zero.")
    if on > timezone.localdate():
        raise ValidationError({"on": f"The day {on} has not come yet."})
    if not method.strip():
        raise ValidationError({"method": "Say what it was compared with."})
    deviation = 100 * (scale_factor / system.scale_factor - 1)
    with writing():
        row = PerformanceCheck.objects.create(
            system=system,
            on=on,
            scale_factor=scale_factor,
            deviation_pct=deviation,
            allowed_pct=allowed_pct,
            is_satisfied=abs(deviation) <= allowed_pct * (1 + 1e-12),
            method=method.strip(),
            entered_by=by,
        )
        told = {"scale_factor": [system.scale_factor, scale_factor], "is_satisfied": [None, row.is_satisfied]}
        record_entry(action="equipment.check_performance", subject=system, changes=told, by=by)
        return row


def make_budget(
    *, system: MeasuringSystem, at_value: float, unit: str, temperature_pct: float, reason: str, by: Any
) -> SystemBudget:
    """Compute and store the next version of a system's budget; runs that list the system from now on use it.

    Refuses a value of zero, a budget without any contribution, and one without a reason.
    """
    require_right("make_budget", by)
    if not (math.isfinite(at_value) and at_value):
        raise ValidationError({"at_value": "This must be a number other than zero."})
    if not (math.isfinite(temperature_pct) and temperature_pct >= 0):
        raise ValidationError({"temperature_pct": "This must be a number, at least zero."})
    if not reason.strip():
        raise ValidationError({"reason": "Say why; the reason stays with the version."})
    draft = budget_draft(
        system, at_value=at_value, unit=unit.strip(), on=timezone.localdate(), temperature_pct=temperature_pct
    )
    if not draft.origins:
        raise ValidationError("Nothing is known of the instruments of this system: enter their calibrations first.")
    statement = statement_of(draft.document)
    with writing():
        last = SystemBudget.objects.select_for_update().filter(system=system).order_by("-number").first()
        row = SystemBudget.objects.create(
            system=system,
            number=last.number + 1 if last else 1,
            at_value=at_value,
            unit=unit.strip(),
            document={**draft.document, "origins": [list(pair) for pair in draft.origins]},
            statement=statement,
            relative_uncertainty_pct=100 * statement["expanded_uncertainty"] / abs(at_value),
            coverage_factor=statement["coverage_factor"],
            reason=reason.strip(),
            made_by=by,
        )
        told = {"number": [last.number if last else None, row.number]}
        told["relative_uncertainty_pct"] = [
            last.relative_uncertainty_pct if last else system.relative_uncertainty_pct,
            row.relative_uncertainty_pct,
        ]
        record_entry(action="equipment.make_budget", subject=system, changes=told, reason=row.reason, by=by)
        return row
