"""Arithmetic of a nameplate: reactances, tuning, effective output, voltages and currents of capacitor and reactor."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = [
    "Branch",
    "capacitance_uf",
    "capacitive_reactance_ohm",
    "discharge_resistance_most_ohm",
    "drifted_order",
    "effective_mvar",
    "inductance_mh",
    "inductive_reactance_ohm",
    "order_from_detuning",
    "order_range",
    "rated_current_a",
    "tuned_branch",
    "tuned_order",
    "voltage_rise",
]

_ROOT_3 = math.sqrt(3.0)


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} is {value:g}; give a number above zero")


def _above_one(order: float) -> None:
    if not (math.isfinite(order) and order > 1):
        raise ValueError(f"the tuned order is {order:g}; give one above 1")


def capacitive_reactance_ohm(voltage_kv: float, mvar: float) -> float:
    """Return the reactance of one phase of a capacitor bank, Xc = U²/Q.

    Parameters
    ----------
    voltage_kv : float
        Rated voltage of the capacitors, between phases, r.m.s. [kV].
    mvar : float
        Three-phase output of the capacitors at that voltage [Mvar].

    Returns
    -------
    float
        Reactance of one phase, star [Ω].

    Raises
    ------
    ValueError
        A value that is not above zero.

    References
    ----------
    Algebra. The example is a published harmonic-filter page: 480 V, 50 kvar.

    Examples
    --------
    >>> round(capacitive_reactance_ohm(0.48, 0.05), 3)
    4.608
    """
    _positive(voltage_kv=voltage_kv, mvar=mvar)
    return voltage_kv**2 / mvar


def inductive_reactance_ohm(reactance_ohm: float, order: float) -> float:
    """Return the reactance that tunes a capacitor to an order, XL = Xc/h².

    Parameters
    ----------
    reactance_ohm : float
        Capacitive reactance of one phase at rated frequency [Ω].
    order : float
        Tuned frequency over rated frequency.

    Returns
    -------
    float
        Inductive reactance at rated frequency [Ω].

    Raises
    ------
    ValueError
        A value that is not above zero, or an order not above 1.

    References
    ----------
    Algebra. The example is a published harmonic-filter page.

    Examples
    --------
    >>> round(inductive_reactance_ohm(4.608, 5.0), 4)
    0.1843
    """
    _positive(reactance_ohm=reactance_ohm)
    _above_one(order)
    return reactance_ohm / order**2


def inductance_mh(reactance_ohm: float, frequency_hz: float) -> float:
    """Return the inductance of a reactance, L = XL/ω.

    Parameters
    ----------
    reactance_ohm : float
        Inductive reactance [Ω].
    frequency_hz : float
        The frequency at which it holds [Hz].

    Returns
    -------
    float
        Inductance [mH].

    Raises
    ------
    ValueError
        A value that is not above zero.

    References
    ----------
    Algebra. The example is a published harmonic-filter page (printed there as 0.49 mH).

    Examples
    --------
    >>> round(inductance_mh(0.18432, 60.0), 4)
    0.4889
    """
    _positive(reactance_ohm=reactance_ohm, frequency_hz=frequency_hz)
    return reactance_ohm / (2 * math.pi * frequency_hz) * 1e3


def capacitance_uf(reactance_ohm: float, frequency_hz: float) -> float:
    """Return the capacitance of a reactance, C = 1/(ω·Xc).

    Parameters
    ----------
    reactance_ohm : float
        Capacitive reactance [Ω].
    frequency_hz : float
        The frequency at which it holds [Hz].

    Returns
    -------
    float
        Capacitance [µF].

    Raises
    ------
    ValueError
        A value that is not above zero.

    References
    ----------
    Algebra.

    Examples
    --------
    >>> round(capacitance_uf(4.608, 60.0), 2)
    575.65
    """
    _positive(reactance_ohm=reactance_ohm, frequency_hz=frequency_hz)
    return 1e6 / (2 * math.pi * frequency_hz * reactance_ohm)


def tuned_order(inductance_mh: float, capacitance_uf: float, frequency_hz: float) -> float:
    """Return the order to which an inductance and a capacitance tune, h = 1/(ω·√(L·C)).

    Parameters
    ----------
    inductance_mh : float
        Inductance of one phase [mH].
    capacitance_uf : float
        Capacitance of one phase [µF].
    frequency_hz : float
        Rated frequency [Hz].

    Returns
    -------
    float
        Tuned frequency over rated frequency.

    Raises
    ------
    ValueError
        A value that is not above zero.

    References
    ----------
    Algebra.

    Examples
    --------
    >>> round(tuned_order(0.48892, 575.65, 60.0), 3)
    5.0
    """
    _positive(inductance_mh=inductance_mh, capacitance_uf=capacitance_uf, frequency_hz=frequency_hz)
    return 1.0 / (2 * math.pi * frequency_hz * math.sqrt(inductance_mh * 1e-3 * capacitance_uf * 1e-6))


def order_from_detuning(detuning_pct: float) -> float:
    """Return the tuned order of a detuned bank, h = 1/√p with p = XL/Xc.

    Parameters
    ----------
    detuning_pct : float
        p, above 0 and below 100 [%].

    Returns
    -------
    float
        Tuned frequency over rated frequency.

    Raises
    ------
    ValueError
        p outside its range.

    References
    ----------
    Algebra; the example is the usual value for 8 %.

    Examples
    --------
    >>> round(order_from_detuning(8.0), 4)
    3.5355
    """
    if not 0 < detuning_pct < 100:
        raise ValueError(f"the detuning is {detuning_pct:g} %; give one above 0 and below 100 %")
    return 1.0 / math.sqrt(detuning_pct / 100)


def voltage_rise(order: float) -> float:
    """Return the capacitor's voltage over that of the network, UC/U = h²/(h² − 1).

    Parameters
    ----------
    order : float
        Tuned order, above 1.

    Returns
    -------
    float
        Ratio above 1; the reactor's voltage over that of the network is this less 1.

    Raises
    ------
    ValueError
        An order not above 1.

    References
    ----------
    Algebra; a published study of detuned reactors gives 434.783 V at 400 V and 8 %.

    Examples
    --------
    >>> round(400 * voltage_rise(order_from_detuning(8.0)), 3)
    434.783
    """
    _above_one(order)
    return order**2 / (order**2 - 1)


def effective_mvar(capacitor_mvar: float, order: float) -> float:
    """Return what a tuned branch delivers at the capacitors' rated voltage, Q = Qc·h²/(h² − 1).

    Parameters
    ----------
    capacitor_mvar : float
        Output of the capacitors alone [Mvar].
    order : float
        Tuned order, above 1.

    Returns
    -------
    float
        Output at the terminals of the branch [Mvar].

    Raises
    ------
    ValueError
        A value that is not above zero, or an order not above 1.

    References
    ----------
    Algebra.

    Examples
    --------
    >>> round(effective_mvar(0.05, 5.0) * 1e3, 2)
    52.08
    """
    _positive(capacitor_mvar=capacitor_mvar)
    return capacitor_mvar * voltage_rise(order)


def rated_current_a(mvar: float, voltage_kv: float) -> float:
    """Return the line current of a three-phase output, I = Q/(√3·U).

    Parameters
    ----------
    mvar : float
        Three-phase output at that voltage [Mvar].
    voltage_kv : float
        Voltage between phases, r.m.s. [kV].

    Returns
    -------
    float
        Current at rated frequency, r.m.s. [A].

    Raises
    ------
    ValueError
        A value that is not above zero.

    References
    ----------
    Algebra.

    Examples
    --------
    >>> round(rated_current_a(0.0520833, 0.48), 2)
    62.65
    """
    _positive(mvar=mvar, voltage_kv=voltage_kv)
    return mvar * 1e3 / (_ROOT_3 * voltage_kv)


def drifted_order(order: float, capacitance_change_pct: float, inductance_change_pct: float) -> float:
    """Return the tuned order after capacitance and inductance have changed, h/√((1 + ΔC)(1 + ΔL)).

    Parameters
    ----------
    order : float
        Tuned order before.
    capacitance_change_pct, inductance_change_pct : float
        Changes, above −100 [%].

    Returns
    -------
    float
        Tuned order after.

    Raises
    ------
    ValueError
        An order not above zero, or a change of −100 % or less.

    References
    ----------
    Algebra.

    Examples
    --------
    >>> round(drifted_order(4.7, 10.0, 0.0), 4)
    4.4813
    """
    capacitance, inductance = 1 + capacitance_change_pct / 100, 1 + inductance_change_pct / 100
    _positive(order=order, remaining_capacitance=capacitance, remaining_inductance=inductance)
    return order / math.sqrt(capacitance * inductance)


def order_range(
    order: float, capacitance_pct: tuple[float, float], inductance_pct: tuple[float, float]
) -> tuple[float, float]:
    """Return the lowest and the highest tuned order that tolerances allow.

    Parameters
    ----------
    order : float
        Tuned order of the nominal values.
    capacitance_pct, inductance_pct : tuple[float, float]
        Least and greatest deviation, for example ``(0, 10)`` [%].

    Returns
    -------
    tuple[float, float]
        Lowest and highest order.

    Raises
    ------
    ValueError
        As `drifted_order`.

    References
    ----------
    Algebra; the order falls with both, so the corners are the extremes.

    Examples
    --------
    >>> tuple(round(one, 4) for one in order_range(4.7, (0, 10), (-2, 2)))
    (4.4371, 4.7477)
    """
    return (
        drifted_order(order, max(capacitance_pct), max(inductance_pct)),
        drifted_order(order, min(capacitance_pct), min(inductance_pct)),
    )


def discharge_resistance_most_ohm(capacitance_uf: float, crest_kv: float, residual_v: float, within_s: float) -> float:
    """Return the greatest discharge resistance that brings a capacitor down in time, R = t/(C·ln(U/Ur)).

    Parameters
    ----------
    capacitance_uf : float
        Capacitance between the terminals [µF].
    crest_kv : float
        Voltage at the start, √2 times the rated voltage [kV].
    residual_v : float
        What may be left [V].
    within_s : float
        Time for it [s].

    Returns
    -------
    float
        Resistance [Ω].

    Raises
    ------
    ValueError
        A value that is not above zero, or a residual voltage not below the crest.

    References
    ----------
    Algebra. From memory: 50 V within 5 min (IEEE 18, above 600 V), 75 V within 10 min (IEC 60871-1).

    Examples
    --------
    >>> round(discharge_resistance_most_ohm(10.0, 10.0, 50.0, 300.0) / 1e6, 3)
    5.662
    """
    _positive(capacitance_uf=capacitance_uf, crest_kv=crest_kv, residual_v=residual_v, within_s=within_s)
    if residual_v >= crest_kv * 1e3:
        raise ValueError(f"the residual voltage {residual_v:g} V is not below the crest {crest_kv:g} kV")
    return within_s / (capacitance_uf * 1e-6 * math.log(crest_kv * 1e3 / residual_v))


@dataclass(frozen=True, slots=True)
class Branch:
    """One tuned branch at rated voltage and frequency: star values of one phase, three-phase outputs."""

    order: float
    capacitive_reactance_ohm: float
    inductive_reactance_ohm: float
    capacitance_uf: float
    inductance_mh: float
    effective_mvar: float
    reactor_mvar: float
    rated_current_a: float
    capacitor_kv: float
    reactor_kv: float


def tuned_branch(
    capacitor_kv: float, capacitor_mvar: float, order: float, frequency_hz: float, network_kv: float | None = None
) -> Branch:
    """Return everything that a tuned branch's plate needs from four ratings.

    Parameters
    ----------
    capacitor_kv : float
        Rated voltage of the capacitors, between phases, r.m.s. [kV].
    capacitor_mvar : float
        Three-phase output of the capacitors at that voltage [Mvar].
    order : float
        Tuned order, above 1.
    frequency_hz : float
        Rated frequency [Hz].
    network_kv : float or None
        Voltage of the network, between phases; None: that of the capacitors [kV].

    Returns
    -------
    Branch
        Voltages of capacitor and reactor between phases, at rated frequency only.

    Raises
    ------
    ValueError
        A value that is not above zero, or an order not above 1.

    Notes
    -----
    A higher order drops less voltage on the reactor, U/(h² − 1), and makes it smaller for the same output,
    Qc·h²/(h² − 1)².

    References
    ----------
    Algebra. The example is from memory of a textbook: 600 V, 800 kvar cans on 480 V, order 4.7.

    Examples
    --------
    >>> branch = tuned_branch(0.6, 0.8, 4.7, 60.0, network_kv=0.48)
    >>> round(branch.rated_current_a, 1), round(branch.capacitor_kv * 1e3, 1), round(branch.effective_mvar * 1e3)
    (645.0, 502.8, 536)
    """
    reactance = capacitive_reactance_ohm(capacitor_kv, capacitor_mvar)
    winding = inductive_reactance_ohm(reactance, order)
    voltage = capacitor_kv if network_kv is None else network_kv
    _positive(network_kv=voltage)
    delivered = voltage**2 / (reactance - winding)
    current = rated_current_a(delivered, voltage)
    return Branch(
        order=order,
        capacitive_reactance_ohm=reactance,
        inductive_reactance_ohm=winding,
        capacitance_uf=capacitance_uf(reactance, frequency_hz),
        inductance_mh=inductance_mh(winding, frequency_hz),
        effective_mvar=delivered,
        reactor_mvar=3 * current**2 * winding / 1e6,
        rated_current_a=current,
        capacitor_kv=voltage * voltage_rise(order),
        reactor_kv=voltage * (voltage_rise(order) - 1),
    )
