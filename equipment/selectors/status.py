"""In calibration on the day: the one answer for an instrument or a system, on today or any other day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from equipment.metrology.validity import (
    CalibrationPeriod,
    CalibrationStatus,
    OutOfService,
    OutOfServiceKind,
    StateFrom,
    StatusCode,
    absences,
    calibration_status,
    in_words,
)
from equipment.models import Calibration, Instrument, InstrumentRange, MeasuringSystem

_WITHIN = "within"  # plain, since the board compares it thousands of times
_OUT: dict[Any, OutOfServiceKind] = {
    Instrument.State.IN_CALIBRATION: "in_calibration",
    Instrument.State.QUARANTINED: "quarantined",
    Instrument.State.RETIRED: "retired",
}


@dataclass(frozen=True)
class SystemStatus:
    """Whether a measuring system may be used on a day, and why not."""

    system: MeasuringSystem
    is_valid: bool
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Measured:
    """What an instrument is to measure: a value of a quantity in a unit."""

    quantity: str
    value: float
    unit: str


def instrument_status(
    instrument: Instrument,
    on: date,
    *,
    measured: Measured | None = None,
    system: MeasuringSystem | None = None,
    listed: Calibration | None = None,
    periods: Sequence[CalibrationPeriod] | None = None,
) -> CalibrationStatus:
    """Return whether an instrument may be used on a day, and why not.

    Reads what is prefetched: calibrations and state changes, and where `measured` is given the ranges. The answer does
    not depend on the order in which anything was entered.

    With `measured`, a value outside the ranges is refused; with `system`, a system that the instrument is no part of
    that day; with `listed`, a calibration that no longer is the one that counts that day. `periods` are the
    instrument's calibrations where the caller has fetched them for many instruments at once.
    """
    if periods is None:
        periods = [
            period_of(row.calibrated_on, row.due_on, row.verdict, row.certificate_number)
            for row in instrument.calibrations.all()
        ]
    needed = not instrument.is_indicator
    status = calibration_status(periods, on, out_of_service=_absences(instrument), needs_calibration=needed)
    if not status.is_valid:
        return status
    for code, reason in (
        ("not_assigned", _not_assigned(instrument, system, on)),
        ("recalibrated_since", _recalibrated(listed, status)),
        ("outside_range", _outside(instrument, measured)),
    ):
        if reason:
            return _refused(status, code, reason)  # type: ignore[arg-type]
    return status


def period_of(calibrated_on: date, due_on: date, verdict: str, certificate_number: str) -> CalibrationPeriod:
    """Return a calibration as the answer for a day takes it."""
    return CalibrationPeriod(calibrated_on, due_on, verdict == _WITHIN, certificate_number)


def _refused(status: CalibrationStatus, code: StatusCode, reason: str) -> CalibrationStatus:
    return replace(status, is_valid=False, code=code, reason=reason)


def _not_assigned(instrument: Instrument, system: MeasuringSystem | None, on: date) -> str:
    if system is None:
        return ""
    if not any(part.instrument_id == instrument.pk for part in system.components.all()):
        return f"The instrument is no part of {system.name} as it was assigned on {in_words(system.assigned_on)}."
    return " ".join(_system_dates(system, on))


def _recalibrated(listed: Calibration | None, status: CalibrationStatus) -> str:
    counts = status.calibration
    if listed is None or counts is None or counts.reference == listed.certificate_number:
        return ""
    return (
        f"Calibrated again since: {listed.certificate_number} of {in_words(listed.calibrated_on)} was listed, "
        f"{counts.reference} of {in_words(counts.performed_on)} counts."
    )


def _outside(instrument: Instrument, measured: Measured | None) -> str:
    if measured is None:
        return ""
    ranges = [row for row in instrument.ranges.all() if (row.quantity, row.unit) == (measured.quantity, measured.unit)]
    if not ranges or any(_covers(row, measured.value) for row in ranges):
        return ""
    told = ", ".join(f"{row.low:g} to {row.high:g} {row.unit}" for row in ranges)
    return f"{measured.value:g} {measured.unit} lies outside the range of the instrument: {told}."


def _covers(row: InstrumentRange, value: float) -> bool:
    return row.low <= value <= row.high


def _absences(instrument: Instrument) -> list[OutOfService]:
    # An instrument whose state never changed has no day since which it stands so: nothing to look for.
    moves = instrument.state_changes.all() if instrument.state_since is not None else ()
    changes = [StateFrom(row.at.timestamp(), row.on, _OUT.get(row.state), row.reason) for row in moves]
    if changes:
        return absences(changes)
    kind = _OUT.get(instrument.state)  # entered before the states were kept day by day
    since = instrument.state_since or date.min
    return [OutOfService(kind, since, reason=instrument.state_reason)] if kind else []


def _system_dates(system: MeasuringSystem, on: date) -> list[str]:
    reasons = [f"{system.name} was assigned only on {in_words(system.assigned_on)}."] if on < system.assigned_on else []
    if system.ended_on is not None and on >= system.ended_on:
        reasons.append(f"{system.name} ended on {in_words(system.ended_on)}.")
    return reasons


def system_status(system: MeasuringSystem, on: date) -> SystemStatus:
    """Return whether a system and all its instruments may be used on a day, from its prefetched components."""
    reasons = _system_dates(system, on)
    checks = [row for row in system.checks.all() if row.on <= on]
    last = max(checks, key=lambda row: (row.on, row.pk), default=None)
    if last is not None and not last.is_satisfied:
        reasons.append(
            f"The performance check of {in_words(last.on)} found the scale factor {last.deviation_pct:+.2g} % off, "
            f"allowed are ±{last.allowed_pct:g} %."
        )
    for component in system.components.all():
        status = instrument_status(component.instrument, on)
        if not status.is_valid:
            reasons.append(f"{component.instrument.identifier}: {status.reason}")
    return SystemStatus(system, not reasons, tuple(reasons))
