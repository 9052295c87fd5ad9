"""Test levels at the place: correction for the air (Kt) of dry external insulation, and altitude factors.

An altitude factor belongs to the site where a unit will stand and gives the level at the reference atmosphere; Kt
belongs to the conditions of a run and brings that level to its air. Never are the two reference heights mixed: the
functions ask which one is meant.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

__all__ = [
    "Correction",
    "Reference",
    "VoltageKind",
    "absolute_humidity_g_per_m3",
    "altitude_factor",
    "correction",
    "exponents",
    "relative_air_density",
]

VoltageKind = Literal["alternating", "impulse", "direct"]
Reference = Literal["1000_m", "sea_level"]

_PRESSURE_KPA, _TEMPERATURE_C, _HUMIDITY_G_PER_M3, _KELVIN = 101.3, 20.0, 11.0, 273.0
_HIGHEST_RATIO: dict[str, float] = {"alternating": 15.0, "impulse": 20.0, "direct": 15.0}
_LEVEL_TO_U50 = 1.1
_SCALE_HEIGHT_M = 8150.0
_REFERENCE_M: dict[str, float] = {"1000_m": 1000.0, "sea_level": 0.0}


@dataclass(frozen=True, slots=True)
class Correction:
    """How a level is corrected for the air of a run, with every part of the way.

    Attributes
    ----------
    level_kv, factor, set_point_kv : float
        The level at the reference atmosphere [kV], Kt, and level times Kt [kV].
    density, humidity_ratio_g_per_m3, humidity_parameter, exponent_parameter : float
        δ, h/δ, k and g.
    density_exponent, humidity_exponent, density_factor, humidity_factor : float
        m, w, k1 and k2.
    warnings : tuple[str, ...]
        What lies outside the range in which the formula is known to hold.
    """

    level_kv: float
    factor: float
    set_point_kv: float
    density: float
    humidity_ratio_g_per_m3: float
    humidity_parameter: float
    exponent_parameter: float
    density_exponent: float
    humidity_exponent: float
    density_factor: float
    humidity_factor: float
    warnings: tuple[str, ...]


def relative_air_density(pressure_kpa: float, temperature_c: float) -> float:
    """Return the relative air density, δ = (p/p0)·(273 + t0)/(273 + t) with p0 = 101.3 kPa, t0 = 20 °C.

    Parameters
    ----------
    pressure_kpa : float
        Air pressure at the place, not reduced to sea level, 10 to 120 [kPa].
    temperature_c : float
        Air temperature, −60 to 60 [°C].

    Returns
    -------
    float
        δ; 1 at the reference atmosphere.

    Raises
    ------
    ValueError
        A value outside what is possible; a pressure in hPa is named as such.

    References
    ----------
    IEC 60060-1:2010 clause 4.3, from memory; the formula agrees with published ones.

    Examples
    --------
    >>> round(relative_air_density(98.6, 25.0), 5)
    0.95702
    """
    if 500 <= pressure_kpa <= 1200:
        raise ValueError(f"the pressure is {pressure_kpa:g} kPa; that looks like hPa: give {pressure_kpa / 10:g} kPa")
    _inside("pressure", pressure_kpa, 10, 120, "kPa")
    _inside("temperature", temperature_c, -60, 60, "°C")
    return (pressure_kpa / _PRESSURE_KPA) * (_KELVIN + _TEMPERATURE_C) / (_KELVIN + temperature_c)


def absolute_humidity_g_per_m3(temperature_c: float, relative_humidity_pct: float) -> float:
    """Return the absolute humidity, h = 6.11·R·exp(17.6·t/(243 + t))/(0.4615·(273 + t)).

    Parameters
    ----------
    temperature_c : float
        Air temperature, −60 to 60 [°C].
    relative_humidity_pct : float
        R, 0 to 100 [%].

    Returns
    -------
    float
        h [g/m³].

    Raises
    ------
    ValueError
        A value outside what is possible.

    References
    ----------
    IEC 60060-1:2010 clause 4.3, from memory; the formula agrees with published ones.

    Examples
    --------
    >>> round(absolute_humidity_g_per_m3(20.0, 64.0), 3)
    11.027
    """
    _inside("temperature", temperature_c, -60, 60, "°C")
    _inside("relative humidity", relative_humidity_pct, 0, 100, "%")
    saturated = 6.11 * math.exp(17.6 * temperature_c / (243 + temperature_c))
    return saturated * relative_humidity_pct / (0.4615 * (_KELVIN + temperature_c))


def correction(
    level_kv: float,
    *,
    kind: VoltageKind,
    pressure_kpa: float,
    temperature_c: float,
    humidity_g_per_m3: float,
    path_m: float,
    u50_kv: float | None = None,
    wet: bool = False,
) -> Correction:
    """Return a level corrected for the air of a run, U = U0·Kt with Kt = k1·k2 = δ^m·k^w.

    Parameters
    ----------
    level_kv : float
        The level at the reference atmosphere: r.m.s. for alternating voltage, crest else [kV].
    kind : {"alternating", "impulse", "direct"}
        Kind of voltage; it decides how humidity counts.
    pressure_kpa, temperature_c : float
        Air at the place [kPa, °C].
    humidity_g_per_m3 : float
        Absolute humidity [g/m³].
    path_m : float
        Shortest discharge path through air [m].
    u50_kv : float or None
        50 % disruptive-discharge voltage as it enters g [kV]; None: 1.1 times the level as given.
    wet : bool
        Tests in rain are not corrected for humidity: k2 is 1.

    Returns
    -------
    Correction
        The factor, the set point and every part of the way; warnings where h/δ or δ leaves the formula's range.

    Raises
    ------
    ValueError
        A value outside what is possible.

    Notes
    -----
    For dry external insulation; internal insulation is tested at its level without correction.

    References
    ----------
    IEC 60060-1:2010 clause 4.3, from memory; formulas and the table of m and w agree with published ones.

    Examples
    --------
    >>> found = correction(
    ...     50.0, kind="alternating", pressure_kpa=98.6, temperature_c=25.0, humidity_g_per_m3=12.0, path_m=0.22
    ... )
    >>> round(found.factor, 5), round(found.set_point_kv, 2), found.warnings
    (0.99487, 49.74, ())
    """
    _inside_what_is_possible(level_kv, humidity_g_per_m3, path_m)
    density = relative_air_density(pressure_kpa, temperature_c)
    ratio = humidity_g_per_m3 / density
    parameter = _positive(_humidity_parameter(kind, ratio), ratio)
    u50 = _LEVEL_TO_U50 * level_kv if u50_kv is None else u50_kv
    _inside("50 % voltage", u50, 1e-3, 10_000, "kV")
    g = u50 / (500 * path_m * density * parameter)
    m, w = exponents(g)
    density_factor, humidity_factor = density**m, 1.0 if wet else parameter**w
    factor = density_factor * humidity_factor
    return Correction(
        level_kv=level_kv,
        factor=factor,
        set_point_kv=level_kv * factor,
        density=density,
        humidity_ratio_g_per_m3=ratio,
        humidity_parameter=parameter,
        exponent_parameter=g,
        density_exponent=m,
        humidity_exponent=w,
        density_factor=density_factor,
        humidity_factor=humidity_factor,
        warnings=_warnings(kind, ratio, density, wet),
    )


def _inside_what_is_possible(level_kv: float, humidity_g_per_m3: float, path_m: float) -> None:
    _inside("level", level_kv, 1e-3, 5000, "kV")
    _inside("humidity", humidity_g_per_m3, 0, 60, "g/m³")
    _inside("discharge path", path_m, 1e-3, 50, "m")


def _positive(parameter: float, ratio: float) -> float:
    if parameter <= 0:
        raise ValueError(f"h/δ is {ratio:.4g} g/m³, at which the formula has no value; check humidity and pressure")
    return parameter


def _humidity_parameter(kind: VoltageKind, ratio: float) -> float:
    above = ratio - _HUMIDITY_G_PER_M3
    if kind == "alternating":
        return 1 + 0.012 * above
    if kind == "impulse":
        return 1 + 0.010 * above
    if kind == "direct":
        return 1 + 0.014 * above - 0.00022 * above**2
    raise ValueError(f"the kind of voltage is {kind!r}; give alternating, impulse or direct")


def exponents(g: float) -> tuple[float, float]:
    """Return the exponents m of the density and w of the humidity.

    Parameters
    ----------
    g : float
        U50/(500·L·δ·k), at or above zero.

    Returns
    -------
    tuple[float, float]
        m and w.

    Raises
    ------
    ValueError
        Below zero or not a number.

    References
    ----------
    IEC 60060-1:2010 table of m and w, from memory; agrees with published ones.

    Examples
    --------
    >>> exponents(0.1), exponents(1.0), exponents(2.5)
    ((0.0, 0.0), (1.0, 1.0), (1.0, 0.0))
    """
    if not g >= 0:
        raise ValueError(f"g is {g:g}; give a number at or above zero")
    if g < 0.2:
        return 0.0, 0.0
    if g < 1.0:
        both = g * (g - 0.2) / 0.8
        return both, both
    if g <= 1.2:
        return 1.0, 1.0
    return (1.0, (2.2 - g) * (2.0 - g) / 0.8) if g <= 2.0 else (1.0, 0.0)


def _warnings(kind: VoltageKind, ratio: float, density: float, wet: bool) -> tuple[str, ...]:
    found = []
    highest = _HIGHEST_RATIO[kind]
    if not wet and not 1 < ratio < highest:
        found.append(
            f"h/δ is {ratio:.4g} g/m³; for {kind} voltage the formula is known to hold above 1 and below {highest:g}."
        )
    if not 0.8 <= density <= 1.05:
        found.append(f"The relative air density is {density:.4g}, outside 0.8 to 1.05; check pressure and temperature.")
    return tuple(found)


def altitude_factor(altitude_m: float, reference: Reference, exponent: float = 1.0) -> float:
    """Return the factor by which a withstand level at a reference height grows for a site above it.

    Parameters
    ----------
    altitude_m : float
        Height of the site above sea level, −430 to 6000 [m].
    reference : {"1000_m", "sea_level"}
        Where the level holds: up to 1000 m (IEC 62271-1), or at sea level (IEC 60071-2). The two are never mixed.
    exponent : float
        m, 0 to 1.

    Returns
    -------
    float
        exp(m·(H − reference)/8150); 1 at or below the reference height.

    Raises
    ------
    ValueError
        A value outside its range, or a reference that is neither of the two.

    References
    ----------
    IEC 62271-1 (from 1000 m) and IEC 60071-2 (from 0 m), both from memory.

    Examples
    --------
    >>> round(altitude_factor(2000, "1000_m"), 4), round(altitude_factor(2000, "sea_level"), 4)
    (1.1305, 1.2781)
    """
    if reference not in _REFERENCE_M:
        raise ValueError(f"the reference height is {reference!r}; give 1000_m or sea_level")
    _inside("altitude", altitude_m, -430, 6000, "m")
    _inside("exponent", exponent, 0, 1, "")
    return math.exp(exponent * max(altitude_m - _REFERENCE_M[reference], 0.0) / _SCALE_HEIGHT_M)


def _inside(what: str, value: float, least: float, most: float, unit: str) -> None:
    if not least <= value <= most:
        ends = f"{least:g} to {most:g} {unit}".rstrip()
        raise ValueError(f"the {what} is {f'{value:g} {unit}'.rstrip()}; give {ends}")
