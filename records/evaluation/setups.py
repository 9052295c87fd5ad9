"""What was checked and connected before the voltage was raised: noise, charge calibration, instruments."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

# What an instrument can measure. One that names none counts for all but those that only a named one can measure.
INSTRUMENT_QUANTITIES = (
    "voltage",
    "charge",
    "time",
    "current",
    "frequency",
    "impedance",
    "resistance",
    "capacitance",
    "inductance",
    "dissipation_factor",
    "loss",
    "temperature",
)
ONLY_IF_NAMED = ("time", "frequency", "temperature")


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
    """

    name: str
    relative_uncertainty_pct: float
    coverage_factor: float = 2.0
    quantity: str | None = None


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
    """

    background_noise_pc: float | None = None
    injected_pc: float | None = None
    reading: float | None = None
    instruments: tuple[Instrument, ...] = ()

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
    unknown = sorted(set(content) - {"background_noise_pc", "charge_calibration", "instruments"})
    if unknown:
        raise BadSetup(f"{unknown[0]}: is not known; use background_noise_pc, charge_calibration or instruments.")
    injected, reading = _calibration(content.get("charge_calibration"))
    instruments = content.get("instruments") or []
    if not isinstance(instruments, list | tuple):
        raise BadSetup("instruments: must be a list of objects.")
    noise = content.get("background_noise_pc")
    return Setup(
        None if noise is None else _number(noise, "background_noise_pc", minimum=0.0),
        injected,
        reading,
        tuple(_instrument(row, f"instruments[{place}]") for place, row in enumerate(instruments)),
    )


def _number(value: Any, place: str, *, minimum: float | None = None, above: float | None = None) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BadSetup(f"{place}: “{value}” is not a finite number; state one.")
    if minimum is not None and value < minimum:
        raise BadSetup(f"{place}: {value:g} must be at least {minimum:g}.")
    if above is not None and value <= above:
        raise BadSetup(f"{place}: {value:g} must be above {above:g}.")
    return float(value)


def _calibration(content: Any) -> tuple[float | None, float | None]:
    if content is None:
        return None, None
    if not isinstance(content, Mapping):
        raise BadSetup("charge_calibration: must be an object with injected_pc and reading.")
    return (
        _number(content.get("injected_pc"), "charge_calibration.injected_pc", above=0.0),
        _number(content.get("reading"), "charge_calibration.reading", above=0.0),
    )


def _instrument(row: Any, place: str) -> Instrument:
    if not isinstance(row, Mapping):
        raise BadSetup(f"{place}: must be an object with name, relative_uncertainty_pct and coverage_factor.")
    quantity = row.get("quantity")
    if quantity is not None and quantity not in INSTRUMENT_QUANTITIES:
        known = f"{', '.join(INSTRUMENT_QUANTITIES[:-1])} or {INSTRUMENT_QUANTITIES[-1]}"
        raise BadSetup(f"{place}.quantity: “{quantity}” must be {known}.")
    return Instrument(
        str(row.get("name", "")),
        _number(row.get("relative_uncertainty_pct"), f"{place}.relative_uncertainty_pct", minimum=0.0),
        _number(row.get("coverage_factor", 2.0), f"{place}.coverage_factor", above=0.0),
        quantity,
    )
