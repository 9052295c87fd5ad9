"""What was checked and connected before the voltage was raised: noise, charge calibration, instruments."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from records.evaluation.corrections import Acting, Corrections, parse_corrections

# What an instrument can measure. One that names none counts for all but those that only a named one can measure.
INSTRUMENT_QUANTITIES = (
    "voltage",
    "charge",
    "time",
    "current",
    "frequency",
    "impedance",
    "resistance",
    "insulation_resistance",
    "capacitance",
    "inductance",
    "dissipation_factor",
    "loss",
    "temperature",
)
_KEYS = ("background_noise_pc", "charge_calibration", "tripped", "gating_reason", "stages", "instruments")
_LONGEST_STAGE_S = 7 * 86_400.0
ONLY_IF_NAMED = ("time", "frequency", "temperature")
# Conditions of a test that its record may not hold: what bounds each.
CONDITIONS: Mapping[str, Mapping[str, float]] = {
    "temperature_c": {"above": -200.0},
    "ambient_c": {"above": -100.0},
    "shutdown_s": {},
    "cold_resistance_ohm": {"above": 0.0},
    "cold_temperature_c": {"above": -200.0},
    "voltage_applied_s": {},
    "test_voltage_kv": {"above": 0.0},
    "leakage_mohm": {"above": 0.0},
    "capacitance_before_uf": {"above": 0.0},
}


class BadSetup(ValueError):
    """The set-up cannot be used as it is written; the message names the key and the mend."""


@dataclass(frozen=True)
class Instrument:
    """One instrument of the circuit.

    Attributes
    ----------
    name : str
        As the laboratory calls it.
    relative_uncertainty_pct : float
        Expanded uncertainty relative to the reading [%].
    coverage_factor : float
        k, dimensionless.
    quantity : str or None
        One of `INSTRUMENT_QUANTITIES`; None counts for all but `ONLY_IF_NAMED`, to be on the safe side.
    expanded_uncertainty : float
        Part that does not depend on the reading [°C, Ω, …: the unit of the channel], at the same coverage factor.
    corrections : tuple of Corrections
        What its calibration corrects, one for each unit; only of an instrument that is used on its own.
    """

    name: str
    relative_uncertainty_pct: float
    coverage_factor: float = 2.0
    quantity: str | None = None
    expanded_uncertainty: float = 0.0
    corrections: tuple[Corrections, ...] = ()


@dataclass(frozen=True)
class StageTimes:
    """When a stage was held, as people noted it: name, times [s] in the record, r.m.s. voltage [kV] or None."""

    name: str
    begin_s: float
    end_s: float
    voltage_kv: float | None = None


@dataclass(frozen=True)
class Setup:
    """Set-up checks.

    Attributes
    ----------
    background_noise_pc : float or None
        Noise of the circuit as read before the test [pC], scale factor already applied.
    injected_pc : float or None
        Charge that the calibrator injected [pC].
    reading : float or None
        What the detector showed for it, in the unit of the record's charge (pC after reading).
    instruments : tuple of Instrument
        Whose uncertainty counts.
    conditions : mapping of str to float
        What the record may not hold, by name with unit: ``ambient_c``, ``shutdown_s``, ``leakage_mohm``, …
    last_scale_factor : float or None
        k of the calibration before this one, dimensionless, to show its drift.
    tripped : bool or None
        Whether the source tripped during the test; None where nobody says.
    gating_reason : str
        Why pulses were gated.
    stage_times : tuple of StageTimes
        When the stages were held, for lists of pulses whose voltage no record shows.
    acting : tuple of Acting
        Corrections that `correcting.correct` applied, or counts as uncertainty.
    """

    background_noise_pc: float | None = None
    injected_pc: float | None = None
    reading: float | None = None
    instruments: tuple[Instrument, ...] = ()
    last_scale_factor: float | None = None
    tripped: bool | None = None
    gating_reason: str = ""
    stage_times: tuple[StageTimes, ...] = ()
    conditions: Mapping[str, float] = field(default_factory=dict)
    acting: tuple[Acting, ...] = ()

    @property
    def scale_factor(self) -> float | None:
        """Scale factor k, injected charge by reading, dimensionless; None where the circuit was not calibrated."""
        return None if self.injected_pc is None or self.reading is None else self.injected_pc / self.reading


def parse_setup(content: Any) -> Setup:
    """Return the set-up that SETUP.json holds; None gives an empty one.

    Raises
    ------
    BadSetup
        A key has a value that cannot be; the key and the mend are named.
    """
    if content is None:
        return Setup()
    if not isinstance(content, Mapping):
        raise BadSetup('The set-up must be one object, such as {"background_noise_pc": 4.0}.')
    unknown = sorted(set(content) - {*_KEYS, *CONDITIONS})
    if unknown:
        known = ", ".join((*_KEYS[:-1], *CONDITIONS))
        raise BadSetup(f"{unknown[0]}: is not known; use {known} or {_KEYS[-1]}.")
    injected, reading, last = _calibration(content.get("charge_calibration"))
    instruments = content.get("instruments") or []
    if not isinstance(instruments, list | tuple):
        raise BadSetup("instruments: must be a list of objects.")
    noise = content.get("background_noise_pc")
    return Setup(
        None if noise is None else _number(noise, "background_noise_pc", minimum=0.0),
        injected,
        reading,
        tuple(_instrument(row, f"instruments[{place}]") for place, row in enumerate(instruments)),
        last,
        _tripped(content.get("tripped")),
        _reason(content.get("gating_reason")),
        _stage_times(content.get("stages")),
        {
            name: _number(content[name], name, **bounds)
            for name, bounds in CONDITIONS.items()
            if content.get(name) is not None
        },
    )


def _tripped(value: Any) -> bool | None:
    if value is not None and not isinstance(value, bool):
        raise BadSetup(f"tripped: “{value}” must be true or false.")
    return value


def _reason(value: Any) -> str:
    if value is not None and not isinstance(value, str):
        raise BadSetup(f"gating_reason: “{value}” must be a text.")
    return (value or "").strip()


def _stage_times(content: Any) -> tuple[StageTimes, ...]:
    if content is None:
        return ()
    if not isinstance(content, list | tuple) or not all(isinstance(row, Mapping) for row in content):
        raise BadSetup("stages: must be a list of objects with name, begin_s and end_s.")
    return tuple(_stage_time(row, f"stages[{place}]") for place, row in enumerate(content))


def _stage_time(row: Mapping[str, Any], place: str) -> StageTimes:
    begin = _number(row.get("begin_s"), f"{place}.begin_s")
    end = _number(row.get("end_s"), f"{place}.end_s", above=begin)
    if end - begin > _LONGEST_STAGE_S:
        raise BadSetup(
            f"{place}.end_s: a stage of {end - begin:g} s is longer than a week; state the times in seconds."
        )
    voltage = row.get("voltage_kv")
    level = None if voltage is None else _number(voltage, f"{place}.voltage_kv", minimum=0.0)
    name = row.get("name")
    if not isinstance(name, str) or not name:
        raise BadSetup(f"{place}.name: is missing; name the stage as the plan does.")
    return StageTimes(name, begin, end, level)


def _number(value: Any, place: str, *, minimum: float | None = None, above: float | None = None) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BadSetup(f"{place}: “{value}” is not a finite number; state one.")
    if minimum is not None and value < minimum:
        raise BadSetup(f"{place}: {value:g} must be at least {minimum:g}.")
    if above is not None and value <= above:
        raise BadSetup(f"{place}: {value:g} must be above {above:g}.")
    return float(value)


def _calibration(content: Any) -> tuple[float | None, float | None, float | None]:
    if content is None:
        return None, None, None
    if not isinstance(content, Mapping):
        raise BadSetup("charge_calibration: must be an object with injected_pc and reading.")
    last = content.get("last_scale_factor")
    return (
        _number(content.get("injected_pc"), "charge_calibration.injected_pc", above=0.0),
        _number(content.get("reading"), "charge_calibration.reading", above=0.0),
        None if last is None else _number(last, "charge_calibration.last_scale_factor", above=0.0),
    )


def _instrument(row: Any, place: str) -> Instrument:
    if not isinstance(row, Mapping):
        raise BadSetup(f"{place}: must be an object with name, relative_uncertainty_pct and coverage_factor.")
    quantity = row.get("quantity")
    if quantity is not None and quantity not in INSTRUMENT_QUANTITIES:
        known = f"{', '.join(INSTRUMENT_QUANTITIES[:-1])} or {INSTRUMENT_QUANTITIES[-1]}"
        raise BadSetup(f"{place}.quantity: “{quantity}” must be {known}.")
    if quantity is None and row.get("corrections"):
        raise BadSetup(f"{place}.quantity: is missing; corrections need to know what the instrument measures.")
    try:
        corrections = parse_corrections(row["corrections"]) if row.get("corrections") else ()
    except ValueError as fault:
        raise BadSetup(f"{place}.corrections: {fault}") from fault
    fixed = _number(row.get("expanded_uncertainty", 0.0), f"{place}.expanded_uncertainty", minimum=0.0)
    default = 0.0 if "expanded_uncertainty" in row else None
    return Instrument(
        str(row.get("name", "")),
        _number(row.get("relative_uncertainty_pct", default), f"{place}.relative_uncertainty_pct", minimum=0.0),
        _number(row.get("coverage_factor", 2.0), f"{place}.coverage_factor", above=0.0),
        quantity,
        fixed,
        corrections,
    )
