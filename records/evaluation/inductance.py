"""Inductance and losses at rated frequency: losses at rated current and at the reference temperature, and Q."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from equipment.metrology.inputs import Input
from records.evaluation.conductors import Conductor
from records.evaluation.estimating import Estimate, estimate, mean_of
from records.evaluation.examination import Examination
from records.evaluation.measured import Measured
from records.evaluation.readings import (
    examined,
    gap_in_words,
    instrument_parts,
    not_valid,
    of_estimate,
    read,
    require_plausible,
    said,
    temperature_of,
    too_few,
)
from records.evaluation.setups import Setup
from records.evaluation.step import Step
from records.evaluation.winding_resistance import conductor_of
from records.evaluation.wording import not_stated
from records.readers.recording import Recording

_BAND = 0.01  # rows within 1 % of rated frequency count as read at it: common practice, no source


def loss_at_reference(
    loss_w: float, dc_loss_w: float, temperature_c: float, reference_c: float, constant_c: float
) -> float:
    """Return the loss of a winding at the reference temperature.

    The part I²R grows with (T + θ), the stray part falls with it: P = P_dc q + (P − P_dc)/q, q = (T + θ_ref)/(T + θ).

    Parameters
    ----------
    loss_w : float
        Whole loss at θ [W].
    dc_loss_w : float
        Its part I²R at θ [W].
    temperature_c, reference_c : float
        θ and θ_ref [°C].
    constant_c : float
        T of the conductor [°C].

    Returns
    -------
    float
        Loss at θ_ref [W].

    Raises
    ------
    ValueError
        A temperature is not above −T.

    References
    ----------
    IEC 60076-1 and IEEE C57.12.90, correction of load losses (from memory).

    Examples
    --------
    >>> loss_at_reference(1200.0, 1000.0, 20.0, 75.0, 235.0) == 1000 * 310 / 255 + 200 * 255 / 310
    True
    """
    if not (temperature_c > -constant_c and reference_c > -constant_c):
        raise ValueError(f"Temperatures must be above −{constant_c:g} °C.")
    ratio = (constant_c + reference_c) / (constant_c + temperature_c)
    return dc_loss_w * ratio + (loss_w - dc_loss_w) / ratio


def examine(step: Step, recordings: Sequence[Recording], setup: Setup) -> Examination:
    """Return what readings say of a winding's inductance and losses.

    Parameters
    ----------
    step : Step
        ``frequency_hz``; ``rated_current_a`` for losses at rated current; ``dc_resistance_ohm`` of one phase at
        ``dc_resistance_temperature_c``, ``material`` and ``reference_temperature_c`` for losses at the reference
        temperature; ``phases`` that the loss is of, 1 where not stated.
    recordings : sequence of Recording
        With ``inductance_mh`` and, where they were recorded, ``frequency_hz``, ``loss_w``, ``current_a``,
        ``temperature_c``; rows of all are taken together.
    setup : Setup
        Instruments and ``temperature_c``.

    Returns
    -------
    Examination
        ``inductance_mh`` [mH], ``loss_w`` and ``loss_at_reference_w`` [W], ``resistance_ohm`` (effective, P/I²) [Ω],
        ``quality_factor`` ωL/R.

    References
    ----------
    IEC 60076-6 and IEEE C57.21 (from memory). Losses grow with the square of the current: holds for a winding without
    iron in saturation; common practice, no source.
    """
    rows = _rows_at_frequency(step, recordings)
    if isinstance(rows, str):
        return examined(step, {"inductance_mh": not_valid(rows)})
    values = {"inductance_mh": _inductance(rows, setup)}
    gaps = [gap_in_words(setup, "inductance", "impedance")]
    if "loss_w" in rows.channels:
        reason = _unusable_losses(rows)
        if reason:
            lossy = ("loss_w", "loss_at_reference_w", "resistance_ohm", "quality_factor")
            return examined(step, values | dict.fromkeys(lossy, not_valid(reason)), remarks=gaps)
        values |= _losses(step, rows, setup)
        gaps.append(gap_in_words(setup, "loss"))
    return examined(step, values, remarks=gaps)


def _rows_at_frequency(step: Step, recordings: Sequence[Recording]) -> Recording | str:
    require_plausible(recordings)
    if reason := too_few(recordings):
        return reason
    shared = set.intersection(*(set(one.channels) for one in recordings))
    known = {name: np.concatenate([one.channels[name] for one in recordings]) for name in sorted(shared)}
    if any(len(column) != len(known["inductance_mh"]) or not np.isfinite(column).all() for column in known.values()):
        return "A column of the record is not whole: every row needs a finite number."
    if not (known["inductance_mh"] > 0).all():
        return "An inductance is not above 0: the leads were open or the phase of the reading is wrong."
    asked, frequency = step.number("frequency_hz"), known.get("frequency_hz")
    if asked is None or frequency is None:
        return Recording(np.empty(0), known)
    near = np.abs(frequency - asked) <= _BAND * asked
    if not near.any():
        return (
            f"No row was read within {100 * _BAND:g} % of {asked:g} Hz; the record runs from {frequency.min():.4g} to "
            f"{frequency.max():.4g} Hz."
        )
    return Recording(np.empty(0), {name: column[near] for name, column in known.items()})


def _inductance(rows: Recording, setup: Setup) -> Measured:
    values = rows.channels["inductance_mh"]
    mean = estimate("l", [read("l", values, setup, "inductance", "impedance")])
    return of_estimate(mean, f"The mean of {len(values)} readings is {said(mean)} mH.")


def _unusable_losses(rows: Recording) -> str:
    if not (rows.channels["loss_w"] > 0).all():
        return "A loss is not above 0: the wattmeter's current or voltage was exchanged, or its error exceeds the loss."
    if "current_a" in rows.channels and not (rows.channels["current_a"] > 0).all():
        return "A current is not above 0, so losses cannot be referred to it."
    return ""


def _losses(step: Step, rows: Recording, setup: Setup) -> dict[str, Measured]:
    if "current_a" not in rows.channels:
        loss = estimate("p", [read("p", rows.channels["loss_w"], setup, "loss")])
        return {"loss_w": of_estimate(loss, f"The loss read is {said(loss)} W; no current was recorded with it.")}
    resistance = _effective_resistance(rows, setup)
    rated, phases = step.number("rated_current_a"), int(step.stated.get("phases") or 1)
    current = rated if rated is not None else float(rows.channels["current_a"].mean())
    at = f"at rated {current:.4g} A" if rated is not None else f"at {current:.4g} A as tested"
    loss = estimate(f"r * {current * current!r}", [resistance.as_input("r")])
    per_phase = estimate(f"r / {phases}.0", [resistance.as_input("r")])
    values = {
        "loss_w": of_estimate(loss, f"The loss {at} is {said(loss)} W, by the square of the current."),
        "resistance_ohm": of_estimate(
            per_phase, f"The effective resistance of a phase, loss by current squared, is {said(per_phase)} Ω."
        ),
    }
    quality = _quality_factor(step, rows, resistance, phases, setup)
    if quality is not None:
        values["quality_factor"] = quality
    return values | _at_reference(step, rows, loss, current, phases, setup)


def _effective_resistance(rows: Recording, setup: Setup) -> Estimate:
    """Return P/I² of the rows [Ω]; loss and current of one row belong together, so the ratio is averaged."""
    ratios = rows.channels["loss_w"] / rows.channels["current_a"] ** 2
    mean = float(ratios.mean())
    relative = [(u * mean, freedom) for u, freedom in _relative_parts(rows, "loss_w", setup, "loss", power=1)]
    relative += [(u * mean, freedom) for u, freedom in _relative_parts(rows, "current_a", setup, "current", power=2)]
    item = mean_of("r", ratios, relative)
    return estimate("r", [item])


def _relative_parts(
    rows: Recording, channel: str, setup: Setup, quantity: str, *, power: int
) -> list[tuple[float, float]]:
    value = float(rows.channels[channel].mean())
    return [(power * u / value, freedom) for u, freedom in instrument_parts(setup, value, quantity)]


def _quality_factor(step: Step, rows: Recording, resistance: Estimate, phases: int, setup: Setup) -> Measured | None:
    asked, read_hz = step.number("frequency_hz"), rows.channel("frequency_hz")
    frequency = asked if asked is not None else float(read_hz.mean()) if read_hz is not None else None
    if frequency is None:
        return None
    inductance = read("l", rows.channels["inductance_mh"], setup, "inductance", "impedance")
    omega = 2 * math.pi * frequency
    value = estimate(f"{omega * phases / 1e3!r} * l / r", [inductance, resistance.as_input("r")])
    return of_estimate(value, f"The reactance is {said(value)} times the effective resistance at {frequency:g} Hz.")


@dataclass(frozen=True)
class _Correction:
    """What the correction of losses needs: resistance of one phase [Ω] at its temperature [°C], and the reference."""

    conductor: Conductor
    reference_c: float
    resistance_ohm: float
    resistance_c: float
    temperature: Input

    @property
    def constant_c(self) -> float:
        """Return the conductor's constant [°C]."""
        return self.conductor.temperature_constant_c


def _correction(step: Step, rows: Recording, setup: Setup) -> _Correction | str:
    conductor, reference = conductor_of(step), step.number("reference_temperature_c")
    resistance, cold = step.number("dc_resistance_ohm"), step.number("dc_resistance_temperature_c")
    temperature = temperature_of(rows, step, setup)
    wanted = {
        "material": conductor,
        "reference_temperature_c": reference,
        "dc_resistance_ohm": resistance,
        "dc_resistance_temperature_c": cold,
        "temperature_c": temperature,
    }
    if conductor is None or reference is None or resistance is None or cold is None or temperature is None:
        lacking = [key for key, value in wanted.items() if value is None]
        return f"{not_stated(lacking)}: the loss is not corrected to a reference temperature."
    return _Correction(conductor, reference, resistance, cold, temperature)


def _at_reference(
    step: Step, rows: Recording, loss: Estimate, current: float, phases: int, setup: Setup
) -> dict[str, Measured]:
    name, how = "loss_at_reference_w", _correction(step, rows, setup)
    if isinstance(how, str):
        return {name: Measured(None, words=how)}
    constant, at = how.constant_c, how.temperature.value
    if not -constant < min(at, how.reference_c) or at >= 1000:
        return {name: not_valid(f"{at:.4g} °C corrected to {how.reference_c:g} °C: one of the two cannot be.")}
    inputs = _loss_inputs(loss, how, setup)
    part = f"{phases * current * current!r} * r * ({constant!r} + t) / ({constant!r} + c)"
    ratio = f"(({constant!r} + {how.reference_c!r}) / ({constant!r} + t))"
    dc_loss = estimate(part, inputs[1:]).value
    if dc_loss > loss.value + loss.expanded_uncertainty:
        words = f"The part I²R of {dc_loss:.5g} W exceeds the whole loss of {loss.value:.5g} W"
        return {name: not_valid(f"{words}: current or resistance is wrong.")}
    value = estimate(f"{part} * {ratio} + (p - {part}) / {ratio}", inputs)
    words = (
        f"At {how.reference_c:g} °C the loss is {said(value)} W: I²R {dc_loss:.5g} W and stray "
        f"{loss.value - dc_loss:.4g} W at {at:.4g} °C, the first in proportion to ({constant:g} °C + θ), the second "
        "inversely."
    )
    return {name: of_estimate(value, words, gap_in_words(setup, "temperature"))}


def _loss_inputs(loss: Estimate, how: _Correction, setup: Setup) -> list[Input]:
    resistance, cold = how.resistance_ohm, how.resistance_c
    return [
        loss.as_input("p"),
        mean_of("r", np.array([resistance]), instrument_parts(setup, resistance, "resistance")),
        mean_of("c", np.array([cold]), instrument_parts(setup, cold, "temperature")),
        how.temperature,
    ]
