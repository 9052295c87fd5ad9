"""Test levels at the place: the altitude of the site on a plan, and the air of a run on the stages of a step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, cast

from schedules.rules.atmosphere import (
    Correction,
    Reference,
    VoltageKind,
    absolute_humidity_g_per_m3,
    altitude_factor,
    correction,
)

FORMULAS: dict[str, tuple[str, str]] = {
    "1000_m": ("IEC 62271-1", "exp(max(altitude_m - 1000, 0) / 8150)"),
    "sea_level": ("IEC 60071-2", "exp(max(altitude_m, 0) / 8150)"),
}
"""By which document and formula a level grows above its reference height; both from memory, exponent m = 1."""

_CORRECTED_KINDS = ("power_frequency_withstand", "lightning_impulse")
_INTERNAL = ("secondary_to_earth", "secondary_open", "not_energised", "across_terminals", "outer_to_centre")


@dataclass(frozen=True, slots=True)
class RaisedLevel:
    """One level with what the altitude of the site makes of it [kV]."""

    name: str
    level_kv: float
    raised_kv: float

    def as_dict(self) -> dict[str, Any]:
        """Return the level in the shape of the shell contract."""
        return {"name": self.name, "level_kv": self.level_kv, "raised_kv": self.raised_kv}


@dataclass(frozen=True, slots=True)
class Altitude:
    """How the altitude of the site bears on the levels of external insulation, by one reference height only."""

    altitude_m: float
    reference: str
    document: str
    factor: float
    levels: tuple[RaisedLevel, ...]

    @property
    def formula_document(self) -> str:
        """Whose formula the factor is."""
        return FORMULAS[self.reference][0]

    @property
    def formula(self) -> str:
        """The formula of the factor."""
        return FORMULAS[self.reference][1]

    def as_dict(self) -> dict[str, Any]:
        """Return the altitude in the shape of the shell contract."""
        return {
            "altitude_m": self.altitude_m,
            "reference": self.reference,
            "document": self.document,
            "factor": self.factor,
            "formula_document": self.formula_document,
            "formula": self.formula,
            "levels": [level.as_dict() for level in self.levels],
        }


def altitude_of(ratings: Mapping[str, Any], reference: str, document: str) -> Altitude | None:
    """Return what the altitude of the site makes of the levels, by the reference height of their document.

    Parameters
    ----------
    ratings : Mapping[str, Any]
        Completed ratings; ``altitude_m`` [m], ``power_frequency_kv`` and ``lightning_impulse_kv`` [kV].
    reference : str
        ``1000_m``, ``sea_level``, or empty where the document says nothing of it.
    document : str
        Whose levels and reference height these are.

    Returns
    -------
    Altitude or None
        None where no altitude is stated or the document names no reference height.

    References
    ----------
    IEC 62271-1 (from 1000 m) and IEC 60071-2 (from 0 m), both from memory; exponent m = 1.

    Examples
    --------
    >>> levels = {"altitude_m": 2000.0, "power_frequency_kv": 50.0}
    >>> round(altitude_of(levels, "1000_m", "IEC 62271-1").factor, 4)
    1.1305
    """
    if "altitude_m" not in ratings or not reference:
        return None
    factor = round(altitude_factor(ratings["altitude_m"], cast(Reference, reference)), 9)
    levels = tuple(
        RaisedLevel(name, ratings[name], round(ratings[name] * factor, 6))
        for name in ("power_frequency_kv", "lightning_impulse_kv")
        if name in ratings
    )
    return Altitude(ratings["altitude_m"], reference, document, factor, levels)


@dataclass(frozen=True, slots=True)
class Air:
    """What a step's levels are corrected by in the air of a run: shortest path [m] and kind of voltage."""

    path_m: float
    kind: VoltageKind

    def as_dict(self) -> dict[str, Any]:
        """Return the air's part in the shape of the shell contract."""
        return {"path_m": self.path_m, "kind": self.kind}


def air_of(kind: str, arrangement: str, frequency_hz: float | None, path_m: float | None) -> Air | None:
    """Return by what a step is corrected; None for internal insulation and where no path through air is stated.

    Parameters
    ----------
    kind, arrangement : str
        Kind of step and pattern of its arrangements.
    frequency_hz : float or None
        Of the test voltage; None for direct voltage [Hz].
    path_m : float or None
        Shortest discharge path of dry external insulation [m].

    Returns
    -------
    Air or None
        For withstand and impulse steps that stress the outside.

    Examples
    --------
    >>> air_of("power_frequency_withstand", "each_phase_in_turn", 60.0, 0.22)
    Air(path_m=0.22, kind='alternating')
    """
    if path_m is None or kind not in _CORRECTED_KINDS or arrangement in _INTERNAL:
        return None
    if kind == "lightning_impulse":
        return Air(path_m, "impulse")
    return Air(path_m, "alternating" if frequency_hz else "direct")


@dataclass(frozen=True, slots=True)
class PlacedStage:
    """One stage at the place: its name, the plan's set point [kV], and the correction.

    Where the plan raised it for the altitude of the site, ``document_kv`` is the level of the document [kV] and
    ``altitude_factor`` what raised it.
    """

    name: str
    planned_kv: float
    correction: Correction
    document_kv: float | None = None
    altitude_factor: float | None = None


def stages_at_place(
    document: Mapping[str, Any], temperature_c: float, pressure_kpa: float, relative_humidity_pct: float
) -> tuple[PlacedStage, ...]:
    """Return the stages of a planned step with their levels corrected for the air of a run.

    Parameters
    ----------
    document : Mapping[str, Any]
        A step of a plan; without ``air`` in its procedure nothing is corrected.
    temperature_c, pressure_kpa, relative_humidity_pct : float
        The conditions of the run [°C, kPa, %].

    Returns
    -------
    tuple[PlacedStage, ...]
        Level, factor Kt and applied set point of each stage; empty where nothing is corrected. The factor is that of
        the highest stage, because it is the insulation's 50 % voltage that counts.

    Raises
    ------
    ValueError
        Conditions outside what is possible.

    References
    ----------
    IEC 60060-1:2010 clause 4.3, from memory.
    """
    procedure = document.get("procedure", {})
    air, stages = procedure.get("air"), procedure.get("stages", [])
    if not air or not stages:
        return ()
    humidity = absolute_humidity_g_per_m3(temperature_c, relative_humidity_pct)
    highest = max(stage["voltage_kv"] for stage in stages)
    found = correction(
        highest,
        kind=air["kind"],
        pressure_kpa=pressure_kpa,
        temperature_c=temperature_c,
        humidity_g_per_m3=humidity,
        path_m=air["path_m"],
    )
    return tuple(
        PlacedStage(
            stage["name"],
            stage["set_point_kv"],
            replace(found, level_kv=stage["voltage_kv"], set_point_kv=round(stage["set_point_kv"] * found.factor, 2)),
            stage.get("level_kv"),
            stage.get("altitude_factor"),
        )
        for stage in stages
    )


def document_at_place(document: Mapping[str, Any], placed: tuple[PlacedStage, ...]) -> dict[str, Any]:
    """Return a planned step with the levels that apply in the air of a run; the step itself stays as it is.

    Parameters
    ----------
    document : Mapping[str, Any]
        A step of a plan.
    placed : tuple[PlacedStage, ...]
        From `stages_at_place`; empty returns the step unchanged.

    Returns
    -------
    dict[str, Any]
        Stages and the limits of ``held_voltage_kv`` times Kt; every other limit as planned.

    Examples
    --------
    >>> document_at_place({"kind": "capacitance"}, ())
    {'kind': 'capacitance'}
    """
    if not placed:
        return dict(document)
    factors = {one.name: one.correction for one in placed}
    procedure = dict(document["procedure"])
    procedure["stages"] = [_scaled(stage, factors[stage["name"]]) for stage in procedure["stages"]]
    procedure["criteria"] = [
        {
            name: round(value * factors[one["stage"]].factor, 6) if name in ("min", "max") else value
            for name, value in one.items()
        }
        if one["quantity"] == "held_voltage_kv" and one.get("stage") in factors
        else one
        for one in procedure["criteria"]
    ]
    return {**document, "procedure": procedure}


def _scaled(stage: Mapping[str, Any], found: Correction) -> dict[str, Any]:
    level = round(stage["voltage_kv"] * found.factor, 6)
    return {**stage, "voltage_kv": level, "set_point_kv": found.set_point_kv}
