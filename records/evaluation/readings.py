"""What the modules of slow tests share: readings, instruments and conditions to values that can be judged or told."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from equipment.metrology.inputs import Input
from records.evaluation.estimating import Estimate, mean_of
from records.evaluation.examination import Examination, NotExaminable
from records.evaluation.measured import Measured, acting_on, spoken
from records.evaluation.quantities import QUANTITIES
from records.evaluation.setups import ONLY_IF_NAMED, Instrument, Setup
from records.evaluation.soundness import LARGEST, SMALLEST
from records.evaluation.step import Criterion, Step
from records.evaluation.wording import called, channel_words
from records.readers.recording import Recording, Samples

Part = tuple[float, float]


def instrument_parts(setup: Setup, value: float, *quantities: str) -> list[Part]:
    """Return what the instruments of the set-up add to the uncertainty of one value.

    Parameters
    ----------
    setup : Setup
        With its instruments.
    value : float
        Measured value [unit of the quantity].
    *quantities : str
        What an instrument may measure to count, as ``capacitance`` and ``impedance``, the value's own first; one that
        names nothing counts unless the quantity is time, frequency or temperature.

    Returns
    -------
    list of (float, float)
        Standard uncertainty [same unit] and infinite degrees of freedom of each; empty where none counts.

    References
    ----------
    JCGM 100:2008, 4.3.3 (from memory).
    """
    only_named = all(quantity in ONLY_IF_NAMED for quantity in quantities)
    return [
        (_part(setup, one, value, quantities[0]), math.inf)
        for one in setup.instruments
        if one.quantity in quantities or (one.quantity is None and not only_named)
    ]


def _part(setup: Setup, one: Instrument, value: float, quantity: str) -> float:
    relative = abs(value) * one.relative_uncertainty_pct / 100
    stated = math.hypot(relative, one.expanded_uncertainty) / one.coverage_factor
    acting = acting_on(setup, one, quantity)
    return stated if acting is None else acting.standard_uncertainty(value, stated)


def read(name: str, values: Samples, setup: Setup, *quantities: str) -> Input:
    """Return the mean of readings with repeatability, resolution and the instruments' part, as an input of a budget."""
    return mean_of(name, values, instrument_parts(setup, float(np.mean(values)), *quantities))


def gap_in_words(setup: Setup, *quantities: str) -> str:
    """Return a sentence where the set-up states no instrument for a quantity, else nothing."""
    if instrument_parts(setup, 1.0, *quantities):
        return ""
    what = quantities[0].replace("_", " ")
    return f"The set-up states no instrument for {what}: its part is missing in the uncertainty."


def of_estimate(estimate: Estimate, *words: str) -> Measured:
    """Return an estimate as a measured value; an uncertainty of 0 means that nothing is known of it."""
    said = " ".join(word for word in words if word)
    if not estimate.expanded_uncertainty > 0:
        return Measured(estimate.value, None, said, is_value_said=True)
    u, k = estimate.expanded_uncertainty, estimate.coverage_factor
    freedom = estimate.degrees_of_freedom
    return Measured(estimate.value, u, said, coverage_factor=k, is_value_said=True, degrees_of_freedom=freedom)


def said(estimate: Estimate) -> str:
    """Return an estimate's value as a sentence says it, rounded to its uncertainty."""
    return spoken(estimate.value, estimate.expanded_uncertainty)


def require_plausible(recordings: Sequence[Recording]) -> None:
    """Refuse numbers that no instrument of these tests writes, also where only some of a column are so small.

    Parameters
    ----------
    recordings : sequence of Recording
        Every channel is looked at; numbers that are not finite are left to those who need the channel.

    Raises
    ------
    NotExaminable
        A number is beyond 1e15, or nearer to 0 than 1e-15 without being 0.
    """
    for place, one in enumerate(recordings, 1):
        for name, values in one.channels.items():
            sizes = np.abs(values[np.isfinite(values)])
            if sizes.size and (sizes.max() > LARGEST or sizes[sizes > 0].min(initial=1.0) < SMALLEST):
                where = f" of {called(one, f'record {place}')}" if len(recordings) > 1 else ""
                raise NotExaminable(f"The {channel_words(name)}{where} holds numbers that no instrument writes.")


def too_few(recordings: Sequence[Recording]) -> str:
    """Return a sentence where the records hold a single reading, whose repeatability nothing tells; else nothing."""
    if sum(one.rows for one in recordings) > 1:
        return ""
    return "The record holds one reading, which tells nothing of its repeatability; read at least twice."


def not_valid(words: str) -> Measured:
    """Return what is said of a quantity where the test was at fault."""
    return Measured(None, words=words, settled="not_valid")


def condition(name: str, step: Step, setup: Setup, recording: Recording | None = None) -> float | None:
    """Return a condition of the test [unit in its name]: what the set-up states, else the record's head, else the step.

    Parameters
    ----------
    name : str
        As ``shutdown_s``.
    step, setup : Step, Setup
        What was planned, and what was noted.
    recording : Recording, optional
        Whose lines before the heads may state it under the same name, as ``shutdown_s: 12.5``.

    Returns
    -------
    float or None
        None where nobody states it.
    """
    stated = setup.conditions.get(name)
    if stated is None and recording is not None:
        stated = headed(name, recording)
    return step.number(name) if stated is None else stated


def headed(name: str, recording: Recording) -> float | None:
    """Return what the lines before a record's heads state under a name, if it is a finite number; else None."""
    for key, text in recording.metadata.items():
        if key.strip().casefold() == name:
            try:
                value = float(text)
            except ValueError:
                return None
            return value if math.isfinite(value) else None
    return None


def temperature_of(recording: Recording, step: Step, setup: Setup) -> Input | None:
    """Return the temperature of the object during the readings [°C] as the input ``t``.

    Parameters
    ----------
    recording : Recording
        Whose channel ``temperature_c`` counts first.
    step, setup : Step, Setup
        Their ``temperature_c`` counts where the record has neither channel nor head for it, the set-up's first.

    Returns
    -------
    Input or None
        Mean of the channel with its scatter and resolution, and the thermometers of the set-up; None where no
        temperature is stated or one of the channel is no finite number.
    """
    channel = recording.channel("temperature_c")
    if channel is not None and len(channel):
        return read("t", channel, setup, "temperature") if np.isfinite(channel).all() else None
    own = headed("temperature_c", recording)
    stated = condition("temperature_c", step, setup) if own is None else own
    if stated is None:
        return None
    return mean_of("t", np.array([stated]), instrument_parts(setup, stated, "temperature"))


def examined(
    step: Step,
    values: Mapping[str, Measured | Callable[[Criterion], Measured]],
    *,
    implied: Sequence[Criterion] = (),
    remarks: Sequence[str] = (),
    details: Mapping[str, Any] | None = None,
) -> Examination:
    """Return an examination whose values are told where no criterion asks for them.

    Parameters
    ----------
    step : Step
        With its criteria.
    values : mapping of str to Measured or callable
        By quantity; a callable is asked with the criterion, where the limits decide which value is the critical one.
    implied : sequence of Criterion
        What is always asked of this kind, with its limits.
    remarks : sequence of str
        For the reviewer; empty ones and repetitions are left out.
    details : mapping, optional
        What the picture needs.

    Returns
    -------
    Examination
        A quantity that no criterion lists and that has a value is told without being judged.
    """
    listed = {criterion.quantity for criterion in (*step.criteria, *implied)}

    def look(criterion: Criterion) -> Measured:
        found = values.get(criterion.quantity, Measured(None, words="The record does not tell this."))
        measured = found(criterion) if callable(found) else found
        is_told = criterion.is_implied and criterion.minimum is None and criterion.maximum is None
        is_settled = measured.settled is not None or measured.value is None
        return replace(measured, settled="conforms") if is_told and not is_settled else measured

    told = [Criterion(name, judges=QUANTITIES[name].judges, is_implied=True) for name in values if name not in listed]
    worth = [one for one in told if (m := look(one)).value is not None or m.settled == "not_valid"]
    asked = [*implied, *worth] or (
        told[:1] if not step.criteria else []
    )  # what was not found is said where nothing was
    said_once = tuple(dict.fromkeys(word for word in remarks if word))
    return Examination(look, tuple(asked), (), (), said_once, details=details or {})


def critical(criterion: Criterion, candidates: Sequence[Measured]) -> Measured:
    """Return the candidate that lies nearest to a limit or furthest beyond it; without limits the greatest.

    Parameters
    ----------
    criterion : Criterion
        With its limits.
    candidates : sequence of Measured
        At least one, each with a value.

    Returns
    -------
    Measured
        One of them.
    """
    low = -math.inf if criterion.minimum is None else criterion.minimum
    high = math.inf if criterion.maximum is None else criterion.maximum
    if math.isinf(low) and math.isinf(high):
        return max(candidates, key=lambda one: one.value or 0.0)
    return min(candidates, key=lambda one: min((one.value or 0.0) - low, high - (one.value or 0.0)))
