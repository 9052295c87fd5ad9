"""What a bay must be able to do for a step: charging current and power, impulse energy, and its own discharge level."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from schedules.rules.plans import PlannedStep

__all__ = [
    "Bay",
    "Demand",
    "charging_current_ma",
    "charging_power_kva",
    "charging_time_s",
    "demand_of",
    "demand_of_document",
    "impulse_energy_kj",
    "loading_nf",
    "shortcomings",
]

_POWER_FREQUENCIES_HZ = (45.0, 65.0)
_SAME_FREQUENCY = 0.02


@dataclass(frozen=True, slots=True)
class Bay:
    """What a bay has; None where it is not known or there is none of it.

    Attributes
    ----------
    source_kv, source_kva, generator_kv, generator_kj, discharge_pc : float or None
        Highest voltage and power of the power-frequency source [kV, kVA], charging voltage summed over the stages and
        stored energy of the impulse generator [kV, kJ], and residual discharge level of the circuit [pC].
    frequency_hz : float or None
        Of the power-frequency source [Hz].
    direct_kv, direct_ma : float or None
        Highest voltage and charging current of the direct-voltage source [kV, mA].
    """

    source_kv: float | None = None
    source_kva: float | None = None
    generator_kv: float | None = None
    generator_kj: float | None = None
    discharge_pc: float | None = None
    frequency_hz: float | None = None
    direct_kv: float | None = None
    direct_ma: float | None = None


@dataclass(frozen=True, slots=True)
class Demand:
    """What one step asks of a bay; None where the step does not ask for it or the unit does not state it.

    Attributes
    ----------
    voltage_kv, frequency_hz, capacitance_nf : float or None
        Highest power-frequency stage [kV, Hz] and capacitance of the unit with the circuit [nF].
    impulse_kv : float or None
        Highest impulse stage, crest [kV].
    charge_limit_pc : float or None
        Lowest permissible charge of the step [pC].
    direct_kv : float or None
        Highest stage of direct voltage [kV].
    brings_its_own : bool
        Whether the instrument of the step gives its direct voltage, as an insulation tester does.
    """

    voltage_kv: float | None = None
    frequency_hz: float | None = None
    capacitance_nf: float | None = None
    impulse_kv: float | None = None
    charge_limit_pc: float | None = None
    direct_kv: float | None = None
    brings_its_own: bool = False


def loading_nf(pattern: str, ratings: Mapping[str, Any]) -> float | None:
    """Return the capacitance that a step's source has to charge.

    Parameters
    ----------
    pattern : str
        The step's pattern of arrangements.
    ratings : Mapping[str, Any]
        Completed ratings; ``capacitance_uf`` of a capacitor [µF], ``test_capacitance_nf`` of any unit [nF].

    Returns
    -------
    float or None
        Between the terminals the capacitor itself, else what is stated for the test; None where that is not known [nF].

    Examples
    --------
    >>> loading_nf("across_terminals", {"capacitance_uf": 10.0})
    10000.0
    """
    if pattern in ("across_terminals", "outer_to_centre") and "capacitance_uf" in ratings:
        return float(ratings["capacitance_uf"]) * 1e3
    return ratings.get("test_capacitance_nf")


def charging_current_ma(voltage_kv: float, capacitance_nf: float, frequency_hz: float) -> float:
    """Return the current that charges a capacitance, I = ω·C·U.

    Parameters
    ----------
    voltage_kv : float
        Test voltage, r.m.s. [kV].
    capacitance_nf : float
        Capacitance of the unit with the circuit [nF].
    frequency_hz : float
        Test frequency [Hz].

    Returns
    -------
    float
        Current, r.m.s. [mA].

    Raises
    ------
    ValueError
        A value below zero or not finite, or no frequency.

    References
    ----------
    Algebra.

    Examples
    --------
    >>> round(charging_current_ma(50.0, 2.0, 60.0), 1)
    37.7
    """
    for name, value in (("voltage_kv", voltage_kv), ("capacitance_nf", capacitance_nf)):
        if not (math.isfinite(value) and value >= 0):
            raise ValueError(f"{name} is {value:g}; give a number at or above zero")
    if not (math.isfinite(frequency_hz) and frequency_hz > 0):
        raise ValueError(f"frequency_hz is {frequency_hz:g}; give a number above zero")
    return 2 * math.pi * frequency_hz * capacitance_nf * voltage_kv * 1e-3


def charging_power_kva(voltage_kv: float, capacitance_nf: float, frequency_hz: float) -> float:
    """Return the power that charges a capacitance, S = ω·C·U².

    Parameters
    ----------
    voltage_kv, capacitance_nf, frequency_hz : float
        As for `charging_current_ma`.

    Returns
    -------
    float
        Apparent power [kVA].

    Raises
    ------
    ValueError
        As `charging_current_ma`.

    References
    ----------
    Algebra.

    Examples
    --------
    >>> round(charging_power_kva(50.0, 2.0, 60.0), 3)
    1.885
    """
    return charging_current_ma(voltage_kv, capacitance_nf, frequency_hz) * voltage_kv * 1e-3


def impulse_energy_kj(crest_kv: float, capacitance_nf: float) -> float:
    """Return the energy that an impulse leaves in a capacitance at its crest, W = ½·C·U².

    Parameters
    ----------
    crest_kv : float
        Crest of the impulse [kV].
    capacitance_nf : float
        Capacitance of the unit with the circuit [nF].

    Returns
    -------
    float
        Energy [kJ].

    Raises
    ------
    ValueError
        A value below zero or not finite.

    References
    ----------
    Algebra.

    Examples
    --------
    >>> round(impulse_energy_kj(200.0, 10.0), 6)
    0.2
    """
    for name, value in (("crest_kv", crest_kv), ("capacitance_nf", capacitance_nf)):
        if not (math.isfinite(value) and value >= 0):
            raise ValueError(f"{name} is {value:g}; give a number at or above zero")
    return 0.5 * capacitance_nf * crest_kv**2 * 1e-6


def charging_time_s(direct_kv: float, capacitance_nf: float, current_ma: float) -> float:
    """Return how long a constant current charges a capacitance to a direct voltage, t = C·U/I.

    Parameters
    ----------
    direct_kv : float
        Test voltage [kV].
    capacitance_nf : float
        Capacitance of the unit with the circuit [nF].
    current_ma : float
        Charging current of the source [mA].

    Returns
    -------
    float
        Time [s].

    Raises
    ------
    ValueError
        A value below zero or not finite, or no current.

    References
    ----------
    Algebra.

    Examples
    --------
    >>> charging_time_s(30.0, 10_000.0, 10.0)
    30.0
    """
    for name, value in (("direct_kv", direct_kv), ("capacitance_nf", capacitance_nf)):
        if not (math.isfinite(value) and value >= 0):
            raise ValueError(f"{name} is {value:g}; give a number at or above zero")
    if not (math.isfinite(current_ma) and current_ma > 0):
        raise ValueError(f"current_ma is {current_ma:g}; give a number above zero")
    return capacitance_nf * direct_kv * 1e-3 / current_ma


def demand_of(step: PlannedStep, capacitance_nf: float | None = None) -> Demand:
    """Return what a planned step asks of a bay.

    Parameters
    ----------
    step : PlannedStep
        The step; its highest set point counts, of an impulse step as crest.
    capacitance_nf : float or None
        Capacitance of the unit with the circuit; None where it is not known, and then no power is asked for [nF].

    Returns
    -------
    Demand
        Nothing at all for a step without stages.

    Notes
    -----
    A step without a frequency is one of direct voltage, which charges the capacitance once: no power is asked for, and
    how long the charging takes is told, not judged.
    """
    return demand_of_document(step.as_dict(), capacitance_nf)


def demand_of_document(document: Mapping[str, Any], capacitance_nf: float | None = None) -> Demand:
    """Return what a planned step asks of a bay, from the step as it is stored.

    Parameters
    ----------
    document : Mapping[str, Any]
        The step in the shape of the shell contract.
    capacitance_nf : float or None
        As for `demand_of` [nF].

    Returns
    -------
    Demand
        As `demand_of`; steps at low voltage (resistance, inductance, a sweep) ask for nothing.
    """
    procedure = document["procedure"]
    stages = procedure.get("stages", [])
    highest = max((stage.get("set_point_kv", stage["voltage_kv"]) for stage in stages), default=None)
    limits = [
        one["max"]
        for one in procedure.get("criteria", [])
        if one["quantity"] == "apparent_charge_pc" and one.get("max") is not None
    ]
    impulse = document["kind"] == "lightning_impulse"
    direct = not impulse and procedure.get("frequency_hz") is None
    return Demand(
        voltage_kv=None if impulse or direct else highest,
        frequency_hz=procedure.get("frequency_hz"),
        capacitance_nf=capacitance_nf,
        impulse_kv=highest if impulse else None,
        charge_limit_pc=min(limits, default=None),
        direct_kv=highest if direct else None,
        brings_its_own=document["kind"] == "insulation_resistance",
    )


def shortcomings(bay: Bay, demand: Demand) -> tuple[str, ...]:
    """Return why a bay cannot run a step; nothing where it can.

    Parameters
    ----------
    bay : Bay
        What it has.
    demand : Demand
        What the step asks.

    Returns
    -------
    tuple[str, ...]
        One sentence for each shortcoming, with both figures; what is not known about a bay counts as one.

    Raises
    ------
    ValueError
        A demand that is not a sensible number.

    References
    ----------
    Background noise at most half the permissible charge: IEC 60270, from memory. Test voltages of 45 to 65 Hz stand for
    each other: IEC 60060-1:2010 clause 6, from memory.

    Examples
    --------
    >>> shortcomings(Bay(source_kv=40, source_kva=5), Demand(voltage_kv=50, frequency_hz=60, capacitance_nf=2))
    ('The source gives 40 kV; the step needs 50 kV.',)
    """
    found: list[str] = []
    if demand.voltage_kv is not None:
        found += _short("source", "gives", bay.source_kv, demand.voltage_kv, "kV")
        if demand.capacitance_nf is not None and demand.frequency_hz is not None:
            power = charging_power_kva(demand.voltage_kv, demand.capacitance_nf, demand.frequency_hz)
            found += _short("source", "gives", bay.source_kva, power, "kVA")
        found += _off_frequency(bay.frequency_hz, demand.frequency_hz)
    if demand.direct_kv is not None:
        found += _direct(bay.direct_kv, demand)
    if demand.impulse_kv is not None:
        found += _short("impulse generator", "charges to", bay.generator_kv, demand.impulse_kv, "kV")
        if demand.capacitance_nf is not None:
            energy = impulse_energy_kj(demand.impulse_kv, demand.capacitance_nf)
            found += _short("impulse generator", "stores", bay.generator_kj, energy, "kJ")
    if demand.charge_limit_pc is not None:
        found += _noise(bay.discharge_pc, demand.charge_limit_pc)
    return tuple(found)


def _short(what: str, verb: str, has: float | None, needs: float, unit: str) -> Sequence[str]:
    if has is None:
        return [f"What the {what} {verb} in {unit} is not known; the step needs {needs:.4g} {unit}."]
    return [f"The {what} {verb} {has:.4g} {unit}; the step needs {needs:.4g} {unit}."] if has < needs else []


def _direct(has_kv: float | None, demand: Demand) -> Sequence[str]:
    needs = demand.direct_kv or 0.0
    if has_kv is not None and has_kv >= needs:
        return []
    words = (
        "There is no direct-voltage source" if has_kv is None else f"The direct-voltage source gives {has_kv:.4g} kV"
    )
    own = " An insulation tester that gives it will do." if demand.brings_its_own else ""
    return [f"{words}; the step needs {needs:.4g} kV.{own}"]


def _off_frequency(has_hz: float | None, needs_hz: float | None) -> Sequence[str]:
    """Return a sentence where a source is asked for another frequency; power frequencies stand for each other."""
    if has_hz is None or needs_hz is None or abs(has_hz - needs_hz) <= _SAME_FREQUENCY * needs_hz:
        return []
    least, most = _POWER_FREQUENCIES_HZ
    if least <= has_hz <= most and least <= needs_hz <= most:
        return []
    return [f"The source runs at {has_hz:g} Hz; the step needs {needs_hz:g} Hz."]


def _noise(has_pc: float | None, limit_pc: float) -> Sequence[str]:
    most = limit_pc / 2
    if has_pc is None:
        return [f"The residual discharge level is not known; it may be {most:.4g} pC, half the limit."]
    if has_pc > most:
        return [f"The residual discharge level is {has_pc:.4g} pC; it may be {most:.4g} pC, half the limit."]
    return []
