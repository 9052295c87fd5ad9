"""Winding resistance: mean of the readings, corrected to the reference temperature, and its unbalance by phases."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from equipment.metrology.inputs import Input
from equipment.metrology.lines import fit_line
from records.evaluation.conductors import CONDUCTORS, Conductor
from records.evaluation.estimating import Estimate, estimate, mean_of
from records.evaluation.examination import Examination
from records.evaluation.measured import Measured
from records.evaluation.readings import (
    critical,
    examined,
    gap_in_words,
    not_valid,
    of_estimate,
    read,
    require_plausible,
    said,
    temperature_of,
    too_few,
)
from records.evaluation.setups import Setup
from records.evaluation.step import Criterion, Step
from records.evaluation.wording import called, opening
from records.readers.labels import LABEL
from records.readers.recording import Recording

# When a drift is told: five readings or more, a slope of five of its standard uncertainties, 0.1 % in all; common
# practice, no source.
_LEAST_FOR_DRIFT, _CLEAR, _WORTH_SAYING = 5, 5.0, 1e-3


def conductor_of(step: Step) -> Conductor | None:
    """Return the material that the step names, its own constant before that of the table; None where it names none."""
    own, material = step.number("temperature_constant_c"), step.stated.get("material")
    if own is not None:
        return Conductor(str(material or "conductor"), own, "stated by the step")
    return CONDUCTORS[str(material)] if material else None


def corrected(resistance: Input, temperature: Input, conductor: Conductor, reference_c: float) -> Estimate:
    """Return a resistance at the reference temperature with its uncertainty.

    Parameters
    ----------
    resistance : Input
        Named ``r`` [Ω].
    temperature : Input
        Named ``t`` [°C].
    conductor : Conductor
        With its constant, taken as exact.
    reference_c : float
        Reference temperature [°C].

    Returns
    -------
    Estimate
        R (T + θ_ref)/(T + θ) [Ω].

    Raises
    ------
    NotExaminable
        θ is −T, where the model has no value.
    """
    constant = conductor.temperature_constant_c
    return estimate(f"r * ({constant!r} + {reference_c!r}) / ({constant!r} + t)", [resistance, temperature])


def examine(step: Step, recordings: Sequence[Recording], setup: Setup) -> Examination:
    """Return what readings say of a winding's resistance.

    Parameters
    ----------
    step : Step
        ``material`` or ``temperature_constant_c``, and ``reference_temperature_c``, for the correction.
    recordings : sequence of Recording
        Each with ``resistance_ohm`` and, where it was recorded, ``temperature_c`` of the winding; several are the
        phases in turn, whose unbalance is told. The rows of one are repeated readings. A record whose rows name
        their phase has been told apart before.
    setup : Setup
        Instruments, and ``temperature_c`` where the record has no such channel.

    Returns
    -------
    Examination
        ``resistance_ohm``, ``resistance_at_reference_ohm`` [Ω], ``resistance_unbalance_pct`` [%].

    References
    ----------
    IEC 60076-1 and IEEE C57.12.90 (from memory). Unbalance as (greatest − least)/mean: common practice, no source.
    """
    names = ("resistance_ohm", "resistance_at_reference_ohm", "resistance_unbalance_pct")
    require_plausible(recordings)
    if reason := too_few(recordings):
        return examined(step, dict.fromkeys(names, not_valid(reason)))
    faulty = next(
        (place for place, one in enumerate(recordings, 1) if not (one.channels["resistance_ohm"] > 0).all()), 0
    )
    if faulty:
        which = called(recordings[faulty - 1], f"record {faulty}")
        words = f"A resistance of {which} is not above 0; the leads were open or exchanged."
        return examined(step, dict.fromkeys(names, not_valid(words)))
    gaps = (gap_in_words(setup, "resistance"), *(_drift(one) for one in recordings))
    plain = [_plain(one, place, recordings, setup) for place, one in enumerate(recordings, 1)]
    at_reference = _at_reference(step, recordings, setup)
    values: dict[str, Measured | Callable[[Criterion], Measured]] = {
        "resistance_ohm": lambda criterion: critical(criterion, plain),
        "resistance_at_reference_ohm": _by_criterion(at_reference),
    }
    if len(recordings) > 1:
        return examined(step, values | {"resistance_unbalance_pct": _unbalance(step, recordings, setup)}, remarks=gaps)
    return examined(step, values, remarks=(*gaps, _temperature_gap(at_reference, setup)))


def _by_criterion(candidates: Sequence[Measured]) -> Measured | Callable[[Criterion], Measured]:
    missing = next((one for one in candidates if one.value is None), None)
    return missing or (lambda criterion: critical(criterion, candidates))


def _temperature_gap(at_reference: Sequence[Measured], setup: Setup) -> str:
    return gap_in_words(setup, "temperature") if any(one.value is not None for one in at_reference) else ""


def _drift(recording: Recording) -> str:
    """Return a sentence where the readings drift in one direction instead of scattering, else nothing."""
    values = recording.channels["resistance_ohm"]
    if len(values) < _LEAST_FOR_DRIFT or not np.ptp(values):
        return ""
    line = fit_line(np.arange(len(values)), values)
    change = line.slope * (len(values) - 1) / float(values.mean())
    if abs(line.slope) < _CLEAR * line.slope_uncertainty or abs(change) < _WORTH_SAYING:
        return ""
    return (
        f"The readings drift by {100 * change:+.2g} % from the first to the last: the current or the temperature had "
        "not settled."
    )


def _where(place: int, recordings: Sequence[Recording]) -> str:
    if len(recordings) < 2:
        return ""
    return f"{_label(recordings[place - 1]) or f'Record {place} of {len(recordings)}'}: "


def _label(recording: Recording) -> str:
    """Return what one of several is called: the part that its rows name, else the name of its file; empty without."""
    label = recording.metadata.get(LABEL)
    return recording.name or (f"“{label}”" if label else "")


def _plain(recording: Recording, place: int, recordings: Sequence[Recording], setup: Setup) -> Measured:
    values = recording.channels["resistance_ohm"]
    mean = estimate("r", [read("r", values, setup, "resistance")])
    readings = f"mean of {len(values)} readings" if len(values) > 1 else "one reading"
    words = f"{_where(place, recordings)}the {readings} is {said(mean)} Ω."
    return of_estimate(mean, opening(words))


def _at_reference(step: Step, recordings: Sequence[Recording], setup: Setup) -> list[Measured]:
    conductor, reference = conductor_of(step), step.number("reference_temperature_c")
    if conductor is None or reference is None:
        lacks = "material of the winding" if conductor is None else "reference temperature"
        return [Measured(None, words=f"The step names no {lacks}, so nothing is corrected to a reference temperature.")]
    found = []
    for place, one in enumerate(recordings, 1):
        temperature = temperature_of(one, step, setup)
        if temperature is None:
            return [Measured(None, words="Neither record, set-up nor step tells the temperature of the winding.")]
        if not -conductor.temperature_constant_c < min(temperature.value, reference) or temperature.value >= 1000:
            return [not_valid(f"{temperature.value:.4g} °C corrected to {reference:g} °C: one of the two cannot be.")]
        value = corrected(
            read("r", one.channels["resistance_ohm"], setup, "resistance"), temperature, conductor, reference
        )
        found.append(
            of_estimate(
                value,
                f"{opening(_where(place, recordings))}{said(value)} Ω at {reference:g} °C, corrected from "
                f"{temperature.value:.4g} °C for {conductor.title} ({conductor.temperature_constant_c:g} °C).",
            )
        )
    return found


def _unbalance(step: Step, recordings: Sequence[Recording], setup: Setup) -> Measured:
    """Return (greatest − least)/mean of the phases [%]; a scale error common to all readings cancels."""
    inputs = [mean_of(f"r{place}", one.channels["resistance_ohm"]) for place, one in enumerate(recordings)]
    conductor = conductor_of(step)
    temperatures = [temperature_of(one, step, setup) for one in recordings]
    at_one = conductor is not None and all(temperature is not None for temperature in temperatures)
    if at_one and conductor is not None:
        inputs = [
            corrected(_named(phase, "r"), temperature, conductor, 20.0).as_input(phase.name)
            for phase, temperature in zip(inputs, temperatures, strict=True)
            if temperature is not None
        ]
    ordered = sorted(inputs, key=lambda one: one.value)
    total = " + ".join(one.name for one in inputs)
    value = estimate(f"100 * {len(inputs)} * ({ordered[-1].name} - {ordered[0].name}) / ({total})", inputs)
    names = [f"{name} " if (name := _label(one)) else "" for one in recordings]
    listed = ", ".join(f"{name}{one.value:.6g}" for name, one in zip(names, inputs, strict=True))
    where = "at one temperature" if at_one else "as read, since no temperature or material is known"
    return of_estimate(value, f"The phases have {listed} Ω {where}: an unbalance of {said(value)} %.")


def _named(item: Input, name: str) -> Input:
    return Input(name, item.value, item.standard_uncertainty, item.degrees_of_freedom)
