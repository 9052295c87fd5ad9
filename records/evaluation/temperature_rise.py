"""Temperature rise by resistance: the cooling curve back to shutdown, against the cold resistance and the ambient."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from equipment.metrology.inputs import Input
from equipment.metrology.lines import fit_line
from records.evaluation.conductors import Conductor, resistance_at
from records.evaluation.cooling import (
    EXPONENTIAL,
    IN_WORDS,
    Cooling,
    CoolingNotTold,
    compare_models,
)
from records.evaluation.curves import curve_details, line_places, read_point
from records.evaluation.estimating import combined, estimate, mean_of, resolution_part
from records.evaluation.examination import Examination
from records.evaluation.knots import interpolated_in_words, readings_behind
from records.evaluation.measured import Measured, resolution_of, spoken
from records.evaluation.readings import (
    condition,
    examined,
    gap_in_words,
    headed,
    instrument_parts,
    not_valid,
    of_estimate,
    require_plausible,
    said,
)
from records.evaluation.setups import Setup
from records.evaluation.step import Step
from records.evaluation.usual import USUAL
from records.evaluation.winding_resistance import conductor_of
from records.evaluation.wording import not_stated
from records.readers.recording import Recording, Samples

_LATEST_FIRST_READING_S = USUAL["latest_first_reading_s"].value


@dataclass(frozen=True)
class CoolingRecord:
    """Readings after shutdown and what was fitted to them: times after shutdown [s], resistances [Ω].

    `assumed` says in words what was taken for the instant of shutdown where nobody stated it; else nothing. `first_s`
    is when the record begins after shutdown [s]; `interpolated` says in words that its samples were interpolated from
    the readings.
    """

    after_s: Samples
    resistance_ohm: Samples
    cooling: Cooling
    assumed: str = ""
    first_s: float = 0.0
    interpolated: str = ""


def cooling_of(step: Step, recording: Recording, setup: Setup) -> CoolingRecord:
    """Return the readings that count of a record and the models fitted to them.

    Parameters
    ----------
    step, setup : Step, Setup
        One of them, or a line before the record's heads, states ``shutdown_s`` on its time axis; where none does,
        times that begin after 0 count from it. ``settling_s`` of the step leaves out what was read while the measuring
        current was still settling.
    recording : Recording
        Sound, with ``resistance_ohm``.

    Returns
    -------
    CoolingRecord
        Frozen.

    Raises
    ------
    CoolingNotTold
        The instant of shutdown is not stated, or the readings after it do not tell the hot resistance; the message
        says why.
    """
    shutdown, assumed = _shutdown(step, setup, recording)
    if shutdown is None:
        raise CoolingNotTold(
            "Neither set-up, record nor step states the time of shutdown, at which the current was cut off."
        )
    after = recording.time_s - shutdown
    kept = after >= (step.number("settling_s") or 0.0)
    after, resistance = after[kept], recording.channels["resistance_ohm"][kept]
    if len(resistance) and not (resistance > 0).all():
        raise CoolingNotTold("A resistance is not above 0; the leads were open or exchanged.")
    if _is_clipped(resistance):
        raise CoolingNotTold(
            f"The record begins with a row of equal readings of {resistance[0]:.6g} Ω and then falls steeply: the "
            "instrument's range ended there. Measure again in a higher range."
        )
    behind = readings_behind(after, resistance)
    cooling = compare_models(behind.time_s, behind.values)
    return CoolingRecord(behind.time_s, behind.values, cooling, assumed, float(after[0]), interpolated_in_words(behind))


def _shutdown(step: Step, setup: Setup, recording: Recording) -> tuple[float | None, str]:
    """Return the instant of shutdown on the record's time axis [s], and what was assumed of it, in words.

    Where nobody states it, times that begin shortly after 0 are taken to count from it, as cooling curves are plotted
    (common practice, no source): the rise is told, and not judged, for a clock that began later would make it too
    small. Times that begin at 0 count from the first reading and tell nothing.
    """
    stated = condition("shutdown_s", step, setup, recording)
    if stated is not None:
        return stated, ""
    first = float(recording.time_s[0]) if len(recording.time_s) else 0.0
    is_said = any(key.strip().casefold() == "shutdown_s" for key in recording.metadata)
    if is_said or not 0 < first <= _LATEST_FIRST_READING_S:
        return None, ""
    return 0.0, (
        "Nothing states the time of shutdown: the zero of the record's time was taken for it. State it to have the "
        "rise judged."
    )


def _is_clipped(resistance: Samples) -> bool:
    """Return whether the first readings stand still at the highest value though the next ones fall by many digits."""
    if len(resistance) < 8:
        return False
    falling = np.flatnonzero(resistance < resistance.max())
    count = int(falling[0]) if len(falling) else len(resistance)
    if count < 3 or 2 * count >= len(resistance):
        return False
    step = resolution_of(resistance)
    return bool(resistance[count] - resistance[2 * count] > 4 * step and resistance[0] == resistance[count - 1])


def examine(step: Step, recording: Recording, setup: Setup) -> Examination:
    """Return what a cooling curve says of the temperature rise of a winding.

    Δθ = (R_2/R_1)(T + θ_1) − (T + θ_a), with R_2 read from the fitted curve at shutdown.

    Parameters
    ----------
    step : Step
        ``material`` or ``temperature_constant_c``; ``cold_resistance_ohm`` and ``cold_temperature_c`` (the set-up may
        state them instead); ``hot_spot_factor`` for the rise of the hottest spot.
    recording : Recording
        With ``resistance_ohm`` against time, and ``ambient_c`` where it was recorded; it goes before what is stated,
        and ``temperature_c`` stands for it where nothing is.
    setup : Setup
        Instruments, ``shutdown_s``, ``ambient_c``.

    Returns
    -------
    Examination
        ``temperature_rise_k`` [K], ``hot_spot_rise_k`` [K] where a factor is stated, ``resistance_ohm`` at shutdown
        [Ω]. Remarks compare the models.

    Notes
    -----
    The instrument's part of the hot and of the cold resistance count as independent, on the safe side: one instrument
    in one range would let them cancel.

    References
    ----------
    IEC 60076-2 and IEEE C57.12.90 (from memory); the factor of the hottest spot is an agreed number, no measurement.
    """
    names = ("temperature_rise_k", "resistance_ohm")
    require_plausible([recording])
    try:
        found = cooling_of(step, recording, setup)
    except CoolingNotTold as fault:
        if _shutdown(step, setup, recording)[0] is None:
            return examined(step, {"temperature_rise_k": Measured(None, words=str(fault))}, remarks=[str(fault)])
        return examined(step, dict.fromkeys((*names, "hot_spot_rise_k"), not_valid(str(fault))))
    hot = _hot(found, setup)
    chosen = found.cooling.chosen
    at_shutdown = estimate("h", [hot])
    words = (
        f"{said(at_shutdown)} Ω at shutdown, from {len(found.after_s)} readings by "
        f"{IN_WORDS[chosen.model]}, time constant {chosen.time_constant_s:.4g} s."
    )
    words = f"{words} {found.assumed}".strip()
    rise = _rise(step, recording, setup, hot)
    if found.assumed and rise.value is not None:
        rise = replace(rise, words=f"{rise.words} {found.assumed}", settled="inconclusive")
    values = {"temperature_rise_k": rise, "resistance_ohm": of_estimate(at_shutdown, words)}
    factor = step.number("hot_spot_factor")
    if factor is not None:
        values["hot_spot_rise_k"] = _hot_spot(rise, factor)
    first = found.first_s
    late = f"The first reading came {first:.4g} s after shutdown, later than {_LATEST_FIRST_READING_S:g} s."
    remarks = [
        _compared_in_words(found.cooling, hot, step, setup),
        found.interpolated,
        late if first > _LATEST_FIRST_READING_S else "",
        *(gap_in_words(setup, quantity) for quantity in ("resistance", "temperature")),
    ]
    return examined(step, values, remarks=remarks, details=_curve(step, recording, setup, found, values))


def _curve(
    step: Step, recording: Recording, setup: Setup, found: CoolingRecord, values: dict[str, Measured]
) -> dict[str, Any]:
    """Return what the picture shows: readings, each model back to shutdown, and the resistance at the limit."""
    places = line_places(0.0, float(found.after_s[-1]))
    fits = (found.cooling.chosen, *found.cooling.others)
    hot = values["resistance_ohm"]
    words = f"{len(found.after_s)} readings of resistance over {found.after_s[-1]:.4g} s after shutdown. {hot.words}"
    return curve_details(
        found.after_s,
        found.resistance_ohm,
        titles=("Time after shutdown (s)", "Resistance (Ω)"),
        words=words,
        lines=[(IN_WORDS[fit.model], places, fit.at(places)) for fit in fits],
        points=read_point("at shutdown", 0.0, hot, "Ω"),
        limit=_limit(step, recording, setup),
    )


def _limit(step: Step, recording: Recording, setup: Setup) -> tuple[str, float | None, float | None] | None:
    """Return the resistance at shutdown at which the rise would be at its limit."""
    limits = [c.maximum for c in step.criteria if c.quantity == "temperature_rise_k" and c.maximum is not None]
    cold, at = condition("cold_resistance_ohm", step, setup), condition("cold_temperature_c", step, setup)
    conductor, ambient = conductor_of(step), _ambient(step, recording, setup)
    if not limits or cold is None or at is None or conductor is None or ambient is None:
        return None
    most = resistance_at(cold, at, ambient.value + min(limits), conductor.temperature_constant_c)
    return f"at shutdown above {most:.4g} Ω the rise would exceed {min(limits):g} K", None, most


def _hot(found: CoolingRecord, setup: Setup) -> Input:
    """Return the resistance at shutdown as the input ``h``: covariance of the fit, spread of models, instruments."""
    chosen, readings = found.cooling.chosen, found.resistance_ohm
    value = chosen.resistance_ohm
    parts = [(chosen.standard_uncertainty_ohm, float(chosen.degrees_of_freedom))]
    parts.append((found.cooling.spread_ohm / math.sqrt(3), math.inf))
    parts.append(resolution_part(readings, chosen.residual_deviation_ohm))
    return combined("h", value, [*parts, *instrument_parts(setup, value, "resistance")])


def _ambient(step: Step, recording: Recording, setup: Setup) -> Input | None:
    """Return the temperature of the surroundings at shutdown as the input ``a`` [°C]."""
    own, channel = headed("ambient_c", recording), recording.channel("ambient_c")
    stated = condition("ambient_c", step, setup) if own is None else own
    if channel is None and stated is None:
        channel = recording.channel("temperature_c")
    if channel is None:
        return None if stated is None else _stated("a", stated, setup)
    if len(channel) != recording.rows or not np.isfinite(channel).all():
        return None
    at = fit_line(recording.time_s, channel).at(condition("shutdown_s", step, setup, recording) or 0.0)
    parts = [(at.standard_uncertainty, float(len(channel) - 2)), resolution_part(channel)]
    return combined("a", at.value, [*parts, *instrument_parts(setup, at.value, "temperature")])


def _stated(name: str, value: float, setup: Setup) -> Input:
    quantity = "resistance" if name == "r" else "temperature"
    return mean_of(name, np.array([value]), instrument_parts(setup, value, quantity))


def _model(conductor: Conductor) -> str:
    constant = conductor.temperature_constant_c
    return f"h / r * ({constant!r} + c) - ({constant!r} + a)"


def _rise(step: Step, recording: Recording, setup: Setup, hot: Input) -> Measured:
    cold, at = condition("cold_resistance_ohm", step, setup), condition("cold_temperature_c", step, setup)
    conductor, ambient = conductor_of(step), _ambient(step, recording, setup)
    wanted = {"material": conductor, "cold_resistance_ohm": cold, "cold_temperature_c": at, "ambient_c": ambient}
    lacking = [name for name, value in wanted.items() if value is None]
    if cold is None or at is None or conductor is None or ambient is None:
        return Measured(None, words=f"{not_stated(lacking)}: no temperature rise follows from the resistance.")
    if not -conductor.temperature_constant_c < at < 1000:
        return not_valid(f"A cold temperature of {at:.4g} °C cannot be.")
    value = estimate(_model(conductor), [hot, _stated("r", cold, setup), _stated("c", at, setup), ambient])
    return of_estimate(
        value,
        f"{spoken(hot.value, 2 * hot.standard_uncertainty)} Ω at shutdown against {cold:.6g} Ω at {at:.4g} °C give "
        f"{said(value)} K over {ambient.value:.4g} °C, for {conductor.title} "
        f"({conductor.temperature_constant_c:g} °C).",
    )


def _hot_spot(rise: Measured, factor: float) -> Measured:
    if rise.value is None:
        return rise
    u = None if rise.expanded_uncertainty is None else factor * rise.expanded_uncertainty
    words = (
        f"{factor:g} times the mean rise of {spoken(rise.value, rise.expanded_uncertainty)} K are "
        f"{spoken(factor * rise.value, u)} K; the factor is agreed and not measured."
    )
    return replace(rise, value=factor * rise.value, expanded_uncertainty=u, words=words, is_value_said=True)


def _compared_in_words(cooling: Cooling, hot: Input, step: Step, setup: Setup) -> str:
    """Return what the models say of the resistance at shutdown, and of the rise where cold values are known."""
    cold, at, conductor = (
        condition("cold_resistance_ohm", step, setup),
        condition("cold_temperature_c", step, setup),
        conductor_of(step),
    )
    per_ohm = (conductor.temperature_constant_c + at) / cold if conductor and cold and at is not None else None
    told = []
    for fit in (cooling.chosen, *cooling.others):
        away = fit.resistance_ohm - cooling.chosen.resistance_ohm
        kelvin = f", {away * per_ohm:+.2g} K" if per_ohm is not None and fit is not cooling.chosen else ""
        told.append(
            f"{IN_WORDS[fit.model]}: {fit.resistance_ohm:.6g} Ω{kelvin}, scatter {fit.residual_deviation_ohm:.2g} Ω, "
            f"AICc {fit.information - cooling.chosen.information:+.1f}"
        )
    single = "" if cooling.single else f" {IN_WORDS[EXPONENTIAL].capitalize()} alone could not be fitted."
    return f"Models of the cooling compared: {'; '.join(told)}.{single}"
