"""Resistance of conductors against temperature, with each material's constant as data."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files


@dataclass(frozen=True)
class Conductor:
    """One material: its name, its constant T [°C] in (T + θ), and where the constant comes from."""

    title: str
    temperature_constant_c: float
    source: str = ""


def _load() -> Mapping[str, Conductor]:
    table = tomllib.loads(files(__package__).joinpath("conductors.toml").read_text(encoding="utf-8"))
    return {
        name: Conductor(row["title"], row["temperature_constant_c"], f"{row['document']}, from {row['confidence']}")
        for name, row in table.items()
    }


CONDUCTORS: Mapping[str, Conductor] = _load()


def resistance_at(resistance_ohm: float, temperature_c: float, to_c: float, constant_c: float) -> float:
    """Return the resistance that a winding has at another temperature.

    R_s = R_m (T + θ_s)/(T + θ_m).

    Parameters
    ----------
    resistance_ohm : float
        R_m, measured [Ω].
    temperature_c : float
        θ_m, at which it was measured [°C].
    to_c : float
        θ_s, to which it is corrected [°C].
    constant_c : float
        T, the material's constant [°C].

    Returns
    -------
    float
        R_s [Ω].

    Raises
    ------
    ValueError
        A temperature is not finite or not above −T.

    References
    ----------
    IEC 60076-1 and IEEE C57.12.90 (from memory).

    Examples
    --------
    >>> round(resistance_at(0.4210, 22.5, 75.0, 235.0), 5)
    0.50683
    """
    for name, value in (("measured", temperature_c), ("reference", to_c)):
        if not (math.isfinite(value) and value > -constant_c):
            raise ValueError(f"The {name} temperature of {value:g} °C must be finite and above −{constant_c:g} °C.")
    return resistance_ohm * (constant_c + to_c) / (constant_c + temperature_c)


def rise_by_resistance(hot_ohm: float, cold_ohm: float, cold_c: float, ambient_c: float, constant_c: float) -> float:
    """Return the mean temperature rise of a winding, from its resistance cold and at shutdown.

    Δθ = (R_2/R_1)(T + θ_1) − (T + θ_a).

    Parameters
    ----------
    hot_ohm, cold_ohm : float
        R_2 at shutdown and R_1 cold, both above 0 [Ω].
    cold_c : float
        θ_1, temperature of the cold winding [°C].
    ambient_c : float
        θ_a, temperature of the surroundings at shutdown [°C].
    constant_c : float
        T, the material's constant [°C].

    Returns
    -------
    float
        Δθ [K].

    Raises
    ------
    ValueError
        A resistance is not above 0.

    References
    ----------
    IEC 60076-2 and IEEE C57.12.90 (from memory).

    Examples
    --------
    >>> round(rise_by_resistance(0.5480, 0.4210, 22.5, 25.0, 235.0), 3)
    75.178
    """
    if not (hot_ohm > 0 and cold_ohm > 0):
        raise ValueError("Both resistances must be above 0.")
    return hot_ohm / cold_ohm * (constant_c + cold_c) - (constant_c + ambient_c)
