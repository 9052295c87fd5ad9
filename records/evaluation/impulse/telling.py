"""What a reviewer and the picture are told of a sequence of impulses beside its findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from records.evaluation.findings import Event
from records.evaluation.impulse.exponentials import DoubleExponential
from records.evaluation.impulse.recorded import NoImpulse, evened
from records.evaluation.impulse.shots import Shot
from records.evaluation.impulse.smoothing import filtered
from records.evaluation.measured import relative_standard_uncertainty
from records.evaluation.setups import Setup
from records.readers.recording import Samples


def remarks(shots: Sequence[Shot], setup: Setup) -> tuple[str, ...]:
    """Return what a reviewer should know of the impulses and no criterion asks, in sentences."""
    said = []
    for shot in shots:
        called = "The impulse" if len(shots) == 1 else f"Impulse {named(shot)}"
        if shot.why:
            said.append(f"{called}: {shot.why}")
        if shot.impulse is None:
            continue
        said += [f"{called}: {remark}" for remark in shot.impulse.remarks]
        if shot.impulse.is_chopped and shot.impulse.base is None:
            said.append(
                f"{called} is chopped near its crest or before; the test-voltage function was not applied, and its "
                "test voltage is its extreme."
            )
    if relative_standard_uncertainty(setup, "time") is None:
        said.append("The set-up names no instrument for time: its share in the uncertainty of times is left out.")
    return tuple(said)


def named(shot: Shot) -> str:
    """Return an impulse by its place in the sequence and, where its record has one, its name."""
    name = shot.recording.name
    return f"{shot.number} ({name})" if name else f"{shot.number}"


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
        return {"number": shot.number, "sha256": shot.recording.sha256, "why": shot.why}
    recorded = impulse.recorded
    return {
        "number": shot.number,
        "sha256": shot.recording.sha256,
        "stage": shot.stage.name if shot.stage else None,
        "polarity": impulse.polarity,
        "test_voltage_kv": impulse.test_voltage_kv.value,
        "base_level_kv": recorded.base_kv,
        "base_curve": dict(vars(impulse.base.wave)) if impulse.base else None,
        "marks": dict(vars(impulse.marks)) if impulse.marks else None,
        "chopped_us": float(recorded.time_us[recorded.chopped]) if recorded.chopped is not None else None,
    }


@dataclass(frozen=True)
class Curves:
    """An impulse as it is drawn: times [µs] and voltages [kV] as in the record, either polarity.

    Attributes
    ----------
    time_us, recorded_kv : ndarray (n,)
        The record.
    base_kv, test_voltage_kv : ndarray (n,) or None
        Base curve and test-voltage curve, the base level added; None where nothing was fitted.
    sign : int
        1 or -1.
    """

    time_us: Samples
    recorded_kv: Samples
    base_kv: Samples | None
    test_voltage_kv: Samples | None
    sign: int


def curves_of(time_s: Samples, voltage_kv: Samples, drawn: Mapping[str, Any]) -> Curves:
    """Return the curves of an impulse from its record and what the evaluation kept of it.

    The base curve is the one that was kept, not fitted again, so that the picture shows what was judged; a drift of
    the base level that was taken off is not drawn.

    Parameters
    ----------
    time_s, voltage_kv : ndarray (n,)
        As recorded.
    drawn : mapping
        One entry of `details`.

    Returns
    -------
    Curves
        Frozen.
    """
    sign = -1 if drawn.get("polarity") == "negative" else 1
    kept = drawn.get("base_curve")
    if kept is None:
        return Curves(time_s * 1e6, voltage_kv, None, None, sign)
    try:
        time_us, recorded, _ = evened(time_s * 1e6, voltage_kv)
    except NoImpulse:
        return Curves(time_s * 1e6, voltage_kv, None, None, sign)
    base = sign * DoubleExponential(**kept).at(time_us) + float(drawn["base_level_kv"])
    interval = float(time_us[-1] - time_us[0]) / (len(time_us) - 1)
    chopped = drawn.get("chopped_us")
    part = slice(None) if chopped is None else slice(0, int(np.searchsorted(time_us, chopped, side="right")))
    curve = recorded.copy()
    curve[part] = base[part] + filtered(recorded[part] - base[part], interval)
    return Curves(time_us, recorded, base, curve, sign)
