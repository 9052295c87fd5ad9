"""Dissipation factor and capacitance at the test voltage, their change over the tests, and the rise with voltage."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from records.evaluation.capacitance import (
    INSTRUMENTS,
    Compared,
    capacitance_values,
    compared,
    element_criteria,
)
from records.evaluation.estimating import estimate, mean_of
from records.evaluation.examination import Examination
from records.evaluation.measured import Measured
from records.evaluation.readings import examined, gap_in_words, not_valid, of_estimate, read, said
from records.evaluation.setups import Setup
from records.evaluation.step import Criterion, Step
from records.readers.recording import Recording

_BAND = 0.02


def examine(step: Step, recordings: Sequence[Recording], setup: Setup) -> Examination:
    """Return what readings say of dissipation factor and capacitance.

    Parameters
    ----------
    step : Step
        Its stage names the voltage that counts, else the highest of the record does; elements as `capacitance.examine`.
    recordings : sequence of Recording
        With ``dissipation_factor``, and ``voltage_kv`` and ``capacitance_uf`` where they were recorded; of two the
        first is before the dielectric tests, the second after.
    setup : Setup
        Instruments.

    Returns
    -------
    Examination
        ``dissipation_factor``, ``dissipation_factor_change`` (after less before), ``dissipation_factor_tip_up``
        (highest voltage less lowest), ``capacitance_uf`` [µF], ``capacitance_change_pct`` [%].

    References
    ----------
    IEC 60137 and IEC 60871-1 (from memory); tip-up as the difference over the voltage: common practice, no source.
    """
    pair = compared("dissipation_factor", step, recordings)
    reason = pair if isinstance(pair, str) else _impossible(pair)
    if reason or isinstance(pair, str):
        return examined(step, {"dissipation_factor": not_valid(reason)})
    values = {"dissipation_factor": _factor(pair, setup)}
    if pair.before is not None:
        values["dissipation_factor_change"] = _difference(pair, "before and after the tests")
    tip = _tip_up(recordings[-1])
    if tip is not None:
        values["dissipation_factor_tip_up"] = tip
    implied: tuple[Criterion, ...] = ()
    gaps = [gap_in_words(setup, "dissipation_factor", "impedance")]
    if all("capacitance_uf" in one.channels for one in recordings):
        farads = compared("capacitance_uf", step, recordings)
        if isinstance(farads, str):
            values["capacitance_uf"] = not_valid(farads)
        else:
            values |= capacitance_values(step, farads, setup)
            implied = element_criteria(step, farads, setup)
            gaps.append(gap_in_words(setup, *INSTRUMENTS))
    return examined(step, values, implied=implied, remarks=gaps)


def _impossible(pair: Compared) -> str:
    lowest = min(float(pair.after.min()), float(pair.before.min()) if pair.before is not None else 0.0)
    if lowest < 0:
        return f"A dissipation factor of {lowest:.3g} is below 0: a lead, the guard or the standard was at fault."
    if not float(pair.after.max()):
        return "Every dissipation factor is 0: the bridge did not measure losses."
    return ""


def _factor(pair: Compared, setup: Setup) -> Measured:
    value = estimate("d", [read("d", pair.after, setup, "dissipation_factor", "impedance")])
    return of_estimate(value, f"The mean of {len(pair.after)} readings is {said(value)}.")


def _difference(pair: Compared, between: str) -> Measured:
    """Return a difference of two sets of readings of one bridge, whose fixed error cancels."""
    assert pair.before is not None
    change = estimate("a - b", [mean_of("a", pair.after), mean_of("b", pair.before)])
    return of_estimate(
        change,
        f"{float(pair.before.mean()):.4g} and {float(pair.after.mean()):.4g} {between} differ by {said(change)}.",
    )


def _tip_up(recording: Recording) -> Measured | None:
    voltage, factor = recording.channel("voltage_kv"), recording.channels["dissipation_factor"]
    if voltage is None or len(voltage) != len(factor) or not np.isfinite(voltage).all():
        return None
    low, high = float(voltage.min()), float(voltage.max())
    if not 0 < low < (1 - 2 * _BAND) * high:
        return None
    pair = Compared(factor[voltage >= (1 - _BAND) * high], factor[voltage <= (1 + _BAND) * low])
    return _difference(pair, f"at {low:.3g} and {high:.3g} kV")
