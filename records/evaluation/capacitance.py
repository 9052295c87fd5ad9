"""Capacitance: mean of the readings, and its change over the dielectric tests against one element's share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from equipment.metrology.inputs import Input
from records.evaluation.elements import share_of_blown_fuse, share_of_short_circuit
from records.evaluation.estimating import estimate, mean_of
from records.evaluation.examination import Examination
from records.evaluation.measured import Measured
from records.evaluation.readings import (
    condition,
    examined,
    gap_in_words,
    not_valid,
    of_estimate,
    read,
    require_plausible,
    said,
    too_few,
)
from records.evaluation.setups import Setup
from records.evaluation.step import Criterion, Step
from records.evaluation.wording import channel_words
from records.readers.recording import Recording, Samples

INSTRUMENTS = ("capacitance", "impedance")
_BAND = 0.02  # readings within 2 % of the voltage asked for count as made at it: common practice, no source


@dataclass(frozen=True)
class Compared:
    """Readings before and after the dielectric tests: ``before`` is None where only one set is known."""

    after: Samples
    before: Samples | None


def rows_at_voltage(recording: Recording, step: Step) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Return which rows were read at the voltage that counts.

    Parameters
    ----------
    recording : Recording
        With ``voltage_kv`` where the voltage was recorded; without it every row counts.
    step : Step
        Its last stage names the voltage and the tolerance; without one the highest voltage of the record counts.

    Returns
    -------
    ndarray (n,) of bool
        False everywhere where the voltage asked for was never read at.
    """
    voltage = recording.channel("voltage_kv")
    if voltage is None or len(voltage) != recording.rows or not np.isfinite(voltage).all():
        return np.ones(recording.rows, dtype=bool)
    stage = step.stages[-1] if step.stages else None
    if stage is not None and stage.voltage_kv:
        return (voltage >= stage.low_kv) & (voltage <= stage.high_kv)
    return voltage >= (1 - _BAND) * float(voltage.max())


def compared(channel: str, step: Step, recordings: Sequence[Recording]) -> Compared | str:
    """Return the readings of one channel before and after, at the voltage that counts, or why there are none.

    Parameters
    ----------
    channel : str
        As ``capacitance_uf``.
    step : Step
        ``comparison`` says whether several records or the rows of one are before and after; records where not stated.
    recordings : sequence of Recording
        The first is before and the last after; a single one is after, or its first half before.

    Returns
    -------
    Compared or str
        Readings [unit of the channel], or a reason.
    """
    require_plausible(recordings)
    if reason := too_few(recordings):
        return reason
    sets = []
    for one in recordings:
        kept = rows_at_voltage(one, step)
        if not kept.any():
            if not step.stages:
                return "No voltage of the record is above 0: the column of the voltage, or its sign, is wrong."
            return f"No row was read at the voltage that the plan asks, {step.stages[-1].in_words}."
        values = one.channels.get(channel)
        if values is None or len(values) != one.rows or not np.isfinite(values).all():
            return f"The record has no whole column of {channel_words(channel)}."
        sets.append(values[kept])
    if step.stated.get("comparison") == "rows" and len(sets) == 1:
        if len(sets[0]) < 2:
            return "Before and after need a row each, and the record has only one at this voltage."
        middle = len(sets[0]) // 2
        return Compared(sets[0][middle:], sets[0][:middle])
    return Compared(sets[-1], sets[0] if len(sets) > 1 else None)


def examine(step: Step, recordings: Sequence[Recording], setup: Setup) -> Examination:
    """Return what readings say of a capacitance and of its change.

    Parameters
    ----------
    step : Step
        ``series_elements`` (and with ``internal_fuses`` ``parallel_elements``) tells one element's share;
        ``comparison`` and ``capacitance_before_uf`` what the change is from.
    recordings : sequence of Recording
        With ``capacitance_uf``; of two the first is before the dielectric tests, the second after.
    setup : Setup
        Instruments, and ``capacitance_before_uf`` where the earlier value comes from an earlier run.

    Returns
    -------
    Examination
        ``capacitance_uf`` [µF] and ``capacitance_change_pct``, the amount of the change [%].

    References
    ----------
    Half of one element's share as the limit where the plan names none: common practice, no source.
    """
    pair = compared("capacitance_uf", step, recordings)
    if isinstance(pair, str):
        return examined(step, dict.fromkeys(("capacitance_uf", "capacitance_change_pct"), not_valid(pair)))
    return examined(
        step,
        capacitance_values(step, pair, setup),
        implied=element_criteria(step, pair, setup),
        remarks=[gap_in_words(setup, *INSTRUMENTS)],
    )


def capacitance_values(step: Step, pair: Compared, setup: Setup) -> dict[str, Measured]:
    """Return the capacitance after [µF] and, where a value before is known, the amount of its change [%]."""
    if not (pair.after > 0).all() or (pair.before is not None and not (pair.before > 0).all()):
        words = "A capacitance is not above 0: the bridge was not balanced or the leads open."
        return dict.fromkeys(("capacitance_uf", "capacitance_change_pct"), not_valid(words))
    value = estimate("c", [read("c", pair.after, setup, *INSTRUMENTS)])
    found = {"capacitance_uf": of_estimate(value, f"The mean of {len(pair.after)} readings is {said(value)} µF.")}
    before = _before(step, pair, setup)
    if before is not None:
        return found | {"capacitance_change_pct": _change(before, pair, step)}
    is_asked = any(criterion.quantity == "capacitance_change_pct" for criterion in step.criteria)
    return found | {"capacitance_change_pct": Measured(None, words=_nothing_before(step))} if is_asked else found


def _nothing_before(step: Step) -> str:
    """Return what is missing where a change is asked for and no value before is known."""
    earlier = step.stated.get("compared_with")
    of = (
        f"no run of “{earlier['title']}” stands for this unit"
        if earlier
        else "nobody states the capacitance before the tests"
    )
    return f"The change cannot be told: {of}."


def _before(step: Step, pair: Compared, setup: Setup) -> Input | None:
    if pair.before is not None:
        return mean_of("b", pair.before)
    stated = condition("capacitance_before_uf", step, setup)
    return None if stated is None else mean_of("b", np.array([stated]))


def _change(before: Input, pair: Compared, step: Step) -> Measured:
    """Return the amount of the change [%]; the same bridge reads both, so an error of its scale cancels."""
    after = mean_of("a", pair.after)
    model = "100 * (a - b) / b" if after.value >= before.value else "100 * (b - a) / b"
    amount = estimate(model, [after, before])
    way = "rose" if after.value >= before.value else "fell"
    words = f"The capacitance {way} from {before.value:.6g} to {after.value:.6g} µF, by {said(amount)} %."
    share = one_share_pct(step)
    if share is not None:
        words += f" One element's share is {abs(share):.3g} %: the change is {amount.value / abs(share):.2g} of it."
    return of_estimate(amount, words)


def one_share_pct(step: Step) -> float | None:
    """Return by how much one lost element changes the capacitance [%], or None where the step tells no elements."""
    series, parallel = step.stated.get("series_elements"), step.stated.get("parallel_elements")
    if series is None:
        return None
    if step.stated.get("internal_fuses") and parallel:
        return 100 * share_of_blown_fuse(series, parallel)
    return 100 * share_of_short_circuit(series)


def element_criteria(step: Step, pair: Compared, setup: Setup) -> tuple[Criterion, ...]:
    """Return half of one element's share as the limit of the change, where elements and a value before are known."""
    share = one_share_pct(step)
    is_listed = any(criterion.quantity == "capacitance_change_pct" for criterion in step.criteria)
    if share is None or is_listed or _before(step, pair, setup) is None:
        return ()
    return (Criterion("capacitance_change_pct", maximum=abs(share) / 2, judges="unit", is_implied=True),)
