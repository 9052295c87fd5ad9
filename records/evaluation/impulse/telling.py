"""What a reviewer and the picture are told of a sequence of impulses beside its findings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from records.evaluation.findings import Event
from records.evaluation.impulse.shots import Shot
from records.evaluation.measured import relative_standard_uncertainty
from records.evaluation.setups import Setup


def remarks(shots: Sequence[Shot], setup: Setup) -> tuple[str, ...]:
    """Return what a reviewer should know of the impulses and no criterion asks, in sentences."""
    said = []
    for shot in shots:
        named = "The impulse" if len(shots) == 1 else f"Impulse {shot.number}"
        if shot.why:
            said.append(f"{named}: {shot.why}")
        if shot.impulse is None:
            continue
        said += [f"{named}: {remark}" for remark in shot.impulse.remarks]
        if shot.impulse.is_chopped:
            said.append(
                f"{named} is chopped; the test-voltage function was not applied, and its test voltage is its extreme."
            )
    if relative_standard_uncertainty(setup, "time") is None:
        said.append("The set-up names no instrument for time: its share in the uncertainty of times is left out.")
    return tuple(said)


def events(shots: Sequence[Shot]) -> tuple[Event, ...]:
    """Return the disruptive discharges, each at its time in its own record."""
    return tuple(
        Event("disruptive_discharge", float(recorded.time_us[recorded.chopped]) * 1e-6, shot.level_kv)
        for shot in shots
        if shot.is_discharge and shot.impulse and (recorded := shot.impulse.recorded).chopped is not None
    )


def details(shots: Sequence[Shot]) -> dict[str, Any]:
    """Return for each impulse what its picture needs: polarity, level, fitted curve and marks, as plain values."""
    return {"impulses": [_drawn(shot) for shot in shots]}


def _drawn(shot: Shot) -> dict[str, Any]:
    impulse = shot.impulse
    if impulse is None:
        return {"number": shot.number, "why": shot.why}
    recorded = impulse.recorded
    return {
        "number": shot.number,
        "stage": shot.stage.name if shot.stage else None,
        "polarity": impulse.polarity,
        "test_voltage_kv": impulse.test_voltage_kv.value,
        "base_level_kv": recorded.base_kv,
        "base_curve": dict(vars(impulse.base.wave)) if impulse.base else None,
        "marks": dict(vars(impulse.marks)) if impulse.marks else None,
        "chopped_us": float(recorded.time_us[recorded.chopped]) if recorded.chopped is not None else None,
    }
