"""Insulation resistance: its values at 1 and 10 min, the polarization index, and the correction by a rule of thumb."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from equipment.metrology.inputs import Input
from equipment.metrology.lines import fit_line
from records.evaluation.absorption import Reading, TimeNotReached, resistance_after
from records.evaluation.curves import ReadPoint, curve_details
from records.evaluation.estimating import Estimate, combined, estimate
from records.evaluation.examination import Examination
from records.evaluation.knots import interpolated_in_words, readings_behind
from records.evaluation.measured import Measured, expanded, relative_standard_uncertainty, resolution_of, spoken
from records.evaluation.readings import (
    condition,
    examined,
    gap_in_words,
    instrument_parts,
    not_valid,
    of_estimate,
    require_plausible,
    said,
    temperature_of,
)
from records.evaluation.setups import Setup
from records.evaluation.step import Criterion, Step
from records.evaluation.usual import USUAL
from records.readers.recording import Recording, Samples

ONE_MINUTE_S, TEN_MINUTES_S = 60.0, 600.0
# Above it the polarization index says little: IEEE 43-2013, from memory.
_INDEX_NOT_MEANINGFUL_MOHM = USUAL["index_not_meaningful_mohm"].value
_HALVING_K = USUAL["insulation_halving_k"].value
_HOLD_SHARE = USUAL["insulation_hold_share"].value
_LEAST_STANDING = 5  # equal readings at the end from which on a range may have ended
_INSTRUMENTS = ("insulation_resistance", "resistance")
_OHMIC = ("insulation_resistance_mohm", "insulation_resistance_10min_mohm", "polarization_index")


def examine(step: Step, recording: Recording, setup: Setup) -> Examination:
    """Return what a record says of the insulation resistance.

    Parameters
    ----------
    step : Step
        ``reference_temperature_c`` asks for the correction by the rule of halving (every ``halving_k``, 10 K where not
        stated); a stage names the test voltage and how long it is applied.
    recording : Recording
        With ``insulation_resistance_mohm`` against time; ``temperature_c`` and ``voltage_kv`` where they were recorded.
    setup : Setup
        Instruments; ``voltage_applied_s`` (0 where not stated), ``leakage_mohm`` of the set-up without the unit,
        ``temperature_c``, ``test_voltage_kv``.

    Returns
    -------
    Examination
        ``insulation_resistance_mohm`` after 1 min and ``insulation_resistance_10min_mohm`` [MΩ],
        ``polarization_index`` (never corrected for temperature); voltage and time as asked of the test.

    Notes
    -----
    The two readings of the index count as independent: a meter changes its range between them. The index of a unit
    with more than 5000 MΩ says little.

    References
    ----------
    IEEE 43-2013 (from memory). The rule of halving: common practice, no source.
    """
    require_plausible([recording])
    after_s, resistance = _from_start(step, recording, setup)
    reason = _unusable(after_s, resistance)
    if reason:
        return examined(step, dict.fromkeys(_OHMIC, not_valid(reason)))
    one, ten = (_reading(after_s, resistance, at_s) for at_s in (ONE_MINUTE_S, TEN_MINUTES_S))
    values = {
        "insulation_resistance_mohm": _resistance(one, "1 min", step, recording, setup),
        "insulation_resistance_10min_mohm": _resistance(ten, "10 min", step, recording, setup),
        "polarization_index": _index(one, ten, setup, resistance),
    }
    listed = {criterion.quantity for criterion in step.criteria}
    late = ("insulation_resistance_10min_mohm", "polarization_index")
    if isinstance(ten, str):  # a test of one minute is a whole test where nothing later is asked
        values = {name: value for name, value in values.items() if name not in late or name in listed}
    asked = _asked_of_test(step, recording, setup, after_s)
    interpolated = interpolated_in_words(readings_behind(after_s, resistance))
    remarks = [interpolated, gap_in_words(setup, *_INSTRUMENTS), _little_said(one)]
    values |= {criterion.quantity: measured for criterion, measured in asked}
    implied = [criterion for criterion, _ in asked]
    details = _curve(step, after_s, resistance, one, ten, setup)
    return examined(step, values, implied=implied, remarks=remarks, details=details)


def _curve(
    step: Step, after_s: Samples, resistance: Samples, one: Reading | str, ten: Reading | str, setup: Setup
) -> dict[str, Any]:
    """Return what the picture shows: readings as measured, and the values at 1 and 10 min."""
    points = [
        ReadPoint(f"{when} {spoken(value.value, u)} MΩ", reading.at_s, value.value, u)
        for when, reading in (("1 min", one), ("10 min", ten))
        if isinstance(reading, Reading)
        for value in (estimate("r", [_input("r", reading, setup)]),)
        for u in (value.expanded_uncertainty or None,)
    ]
    limits = [c.minimum for c in step.criteria if c.quantity == "insulation_resistance_mohm" and c.minimum is not None]
    is_as_measured = step.number("reference_temperature_c") is None and "leakage_mohm" not in setup.conditions
    words = [f"{len(after_s)} readings of insulation resistance over {after_s[-1]:.4g} s, both axes logarithmic"]
    words += [point.words for point in points]
    return curve_details(
        after_s,
        resistance,
        titles=("Time after the voltage was applied (s)", "Insulation resistance (MΩ)"),
        words="; ".join(words) + ".",
        points=points,
        limit=(f"below {max(limits):g} MΩ after 1 min", max(limits), None) if limits and is_as_measured else None,
        is_log=True,
    )


def _from_start(step: Step, recording: Recording, setup: Setup) -> tuple[Samples, Samples]:
    after_s = recording.time_s - (condition("voltage_applied_s", step, setup, recording) or 0.0)
    kept = after_s > 0
    return after_s[kept], recording.channels["insulation_resistance_mohm"][kept]


def _unusable(after_s: Samples, resistance: Samples) -> str:
    if len(after_s) < 2:
        return f"The record has {len(after_s)} samples after the voltage was applied; at least 2 are needed."
    if not (resistance > 0).all():
        return "An insulation resistance is not above 0: the meter was over its range or the circuit open."
    if not np.ptp(resistance):
        return (
            f"Every sample is {resistance[0]:.6g} MΩ: the meter stood at the end of its range or did not measure. "
            "Measure again in a higher range."
        )
    return _clipped(after_s, resistance)


def _clipped(after_s: Samples, resistance: Samples) -> str:
    """Return a sentence where the record ends on one value although it was still rising steeply, else nothing."""
    below = np.flatnonzero(resistance < resistance.max())
    first = int(below[-1]) + 1 if len(below) else 0
    count = len(resistance) - first
    before = slice(max(0, first - count), first)
    if count < _LEAST_STANDING or first - before.start < _LEAST_STANDING:
        return ""
    way = fit_line(np.log(after_s[before]), np.log(resistance[before])).at(math.log(float(after_s[-1])))
    # a reading that has settled moves by less than its last digit; one that is cut off would have gone on
    led_to = math.exp(way.value - 3 * way.standard_uncertainty)
    if led_to < max(1.02 * resistance[-1], resistance[-1] + 4 * resolution_of(resistance[:first])):
        return ""
    return (
        f"The record stands at {resistance[-1]:.6g} MΩ for its last {count} samples although it was rising before: "
        "the meter's range ended. Measure again in a higher range."
    )


def _reading(after_s: Samples, resistance: Samples, at_s: float) -> Reading | str:
    try:
        return resistance_after(after_s, resistance, at_s)
    except TimeNotReached as fault:
        return str(fault)


def _input(name: str, reading: Reading, setup: Setup) -> Input:
    value = reading.resistance_mohm
    scatter = (value * reading.relative_uncertainty, reading.degrees_of_freedom)
    return combined(name, value, [scatter, *instrument_parts(setup, value, *_INSTRUMENTS)])


def _unit_alone(name: str, leakage: float | None) -> str:
    """Return the model of one reading with the set-up's leakage beside the unit taken out."""
    return name if leakage is None else f"({name} * {leakage!r} / ({leakage!r} - {name}))"


def _resistance(reading: Reading | str, when: str, step: Step, recording: Recording, setup: Setup) -> Measured:
    if isinstance(reading, str):
        return not_valid(reading)
    leakage = setup.conditions.get("leakage_mohm")
    if leakage is not None and leakage <= reading.resistance_mohm:
        return not_valid(
            f"The set-up without the unit has {leakage:.4g} MΩ, with it {reading.resistance_mohm:.4g} MΩ after {when}: "
            "what the unit contributes is not told."
        )
    plain = estimate(_unit_alone("r", leakage), [_input("r", reading, setup)])
    words = f"After {when} the record shows {said(plain)} MΩ, from {reading.readings} readings."
    if leakage is not None:
        words += f" The set-up's own {leakage:.4g} MΩ beside the unit are taken out."
    reference = step.number("reference_temperature_c")
    if reference is None:
        return of_estimate(plain, words)
    return _at_reference(plain, reference, words, step, recording, setup)


def _at_reference(
    plain: Estimate, reference: float, words: str, step: Step, recording: Recording, setup: Setup
) -> Measured:
    temperature = temperature_of(recording, step, setup)
    halving = step.number("halving_k") or _HALVING_K
    if temperature is None:
        return Measured(None, words=f"{words} At {reference:g} °C it is asked, but no temperature of it is told.")
    value = estimate(f"r * 2 ** ((t - {reference!r}) / {halving!r})", [plain.as_input("r"), temperature])
    return of_estimate(
        value,
        words,
        f"At {reference:g} °C that is {said(value)} MΩ, from {temperature.value:.3g} °C by the rule that every "
        f"{halving:g} K more halve it (common practice, no law of the material).",
        gap_in_words(setup, "temperature"),
    )


def _index(one: Reading | str, ten: Reading | str, setup: Setup, resistance: Samples) -> Measured:
    if isinstance(one, str) or isinstance(ten, str):
        return not_valid(next(word for word in (ten, one) if isinstance(word, str)))
    leakage = setup.conditions.get("leakage_mohm")
    if leakage is not None and leakage <= max(one.resistance_mohm, ten.resistance_mohm):
        return not_valid(f"The set-up's own {leakage:.4g} MΩ hide the unit's resistance.")
    model = f"{_unit_alone('b', leakage)} / {_unit_alone('a', leakage)}"
    value = estimate(model, [_input("a", one, setup), _input("b", ten, setup)])
    return of_estimate(
        value,
        f"{ten.resistance_mohm:.4g} MΩ after 10 min to {one.resistance_mohm:.4g} MΩ after 1 min give "
        f"{said(value)}; it is not corrected for temperature.",
    )


def _little_said(one: Reading | str) -> str:
    if isinstance(one, str) or one.resistance_mohm <= _INDEX_NOT_MEANINGFUL_MOHM:
        return ""
    return (
        f"Above {_INDEX_NOT_MEANINGFUL_MOHM:g} MΩ after 1 min the polarization index says little "
        f"({USUAL['index_not_meaningful_mohm'].source})."
    )


def _asked_of_test(
    step: Step, recording: Recording, setup: Setup, after_s: Samples
) -> list[tuple[Criterion, Measured]]:
    """Return what the stage asks of the test: its voltage where one is known, and how long it was applied."""
    if not step.stages:
        return []
    stage, asked = step.stages[-1], []
    channel, stated = recording.channel("voltage_kv"), setup.conditions.get("test_voltage_kv")
    if stage.voltage_kv and (channel is not None or stated is not None):
        level = float(np.median(channel)) if channel is not None else float(stated or 0.0)
        name = "held_voltage_kv"
        criterion = Criterion(name, stage.name, stage.low_kv, stage.high_kv, judges="test", is_implied=True)
        parts = instrument_parts(setup, level, "voltage")
        words = f"{level:.4g} kV were applied; the plan asks {stage.in_words}."
        asked.append((criterion, of_estimate(estimate("v", [combined("v", level, parts)]), words)))
    if stage.hold_s:
        name, held = "held_s", float(after_s[-1])
        criterion = Criterion(name, stage.name, _HOLD_SHARE * stage.hold_s, judges="test", is_implied=True)
        words = f"The record ends {held:.4g} s after the voltage was applied; the plan asks {stage.hold_s:g} s."
        # The end lies within one sample; the clock's part counts where an instrument for time is named.
        sample_s = float(np.median(np.diff(after_s))) if len(after_s) > 1 else 0.0
        uncertainty = expanded(held, relative_standard_uncertainty(setup, "time") or 0.0, sample_s / math.sqrt(12))
        asked.append((criterion, Measured(held, uncertainty, words)))
    return asked
