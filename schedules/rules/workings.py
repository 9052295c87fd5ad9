"""The arithmetic that a nameplate needs, each figure with its formula: reactances, tuning, outputs, voltages, drift."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from schedules.rules import nameplate
from schedules.rules.units import unit_of

_REACTIVE = ("series_reactor", "shunt_reactor", "capacitor_unit", "tuned_filter")
_CAPACITORS = ("capacitor_unit", "tuned_filter")
_FILTERS = ("tuned_filter", "series_reactor")


@dataclass(frozen=True, slots=True)
class Working:
    """One figure that follows from the ratings: name, label, formula, inputs, value, unit."""

    name: str
    label: str
    formula: str
    inputs: Mapping[str, float]
    value: float
    unit: str

    def as_dict(self) -> dict[str, Any]:
        """Return the working in the shape of the shell contract."""
        return {
            "name": self.name,
            "label": self.label,
            "formula": self.formula,
            "inputs": dict(self.inputs),
            "value": self.value,
            "unit": self.unit,
        }


@dataclass(frozen=True, slots=True)
class _Line:
    name: str
    label: str
    formula: str
    inputs: tuple[str, ...]
    compute: Callable[..., float]
    kinds: tuple[str, ...]


def _reactance(voltage_kv: float, mvar: float) -> float:
    return nameplate.capacitive_reactance_ohm(voltage_kv, mvar)


_LINES = (
    _Line(
        "capacitive_reactance_ohm",
        "Reactance of the capacitor, Xc",
        "1e6 / (2 * pi * frequency_hz * capacitance_uf)",
        ("capacitance_uf", "frequency_hz"),
        lambda c, f: 1e6 / (2 * math.pi * f * c),
        _REACTIVE,
    ),
    _Line(
        "capacitive_reactance_ohm",
        "Reactance of the capacitor, Xc",
        "capacitor_voltage_kv ** 2 / rated_mvar",
        ("capacitor_voltage_kv", "rated_mvar"),
        _reactance,
        _CAPACITORS,
    ),
    _Line(
        "capacitance_uf",
        "Capacitance, C",
        "1e6 / (2 * pi * frequency_hz * capacitive_reactance_ohm)",
        ("capacitive_reactance_ohm", "frequency_hz"),
        nameplate.capacitance_uf,
        _CAPACITORS,
    ),
    _Line(
        "tuned_order",
        "Tuned order, h",
        "1 / sqrt(detuning_pct / 100)",
        ("detuning_pct",),
        nameplate.order_from_detuning,
        _REACTIVE,
    ),
    _Line(
        "tuned_order",
        "Tuned order, h",
        "1 / (2 * pi * frequency_hz * sqrt(inductance_mh * capacitance_uf) * sqrt(1e-9))",
        ("inductance_mh", "capacitance_uf", "frequency_hz"),
        nameplate.tuned_order,
        _FILTERS,
    ),
    _Line(
        "inductive_reactance_ohm",
        "Reactance of the reactor, XL",
        "capacitive_reactance_ohm / tuned_order ** 2",
        ("capacitive_reactance_ohm", "tuned_order"),
        nameplate.inductive_reactance_ohm,
        _FILTERS,
    ),
    _Line(
        "inductive_reactance_ohm",
        "Reactance of the reactor, XL",
        "2 * pi * frequency_hz * inductance_mh / 1000",
        ("inductance_mh", "frequency_hz"),
        lambda inductance, f: 2 * math.pi * f * inductance / 1e3,
        _REACTIVE,
    ),
    _Line(
        "inductive_reactance_ohm",
        "Reactance of the reactor, XL",
        "rated_voltage_kv ** 2 / rated_mvar",
        ("rated_voltage_kv", "rated_mvar"),
        lambda u, mvar: u**2 / mvar,
        ("shunt_reactor",),
    ),
    _Line(
        "inductance_mh",
        "Inductance, L",
        "inductive_reactance_ohm / (2 * pi * frequency_hz) * 1000",
        ("inductive_reactance_ohm", "frequency_hz"),
        nameplate.inductance_mh,
        (*_FILTERS, "shunt_reactor"),
    ),
    _Line(
        "tuned_frequency_hz",
        "Tuned frequency",
        "tuned_order * frequency_hz",
        ("tuned_order", "frequency_hz"),
        lambda order, f: order * f,
        _REACTIVE,
    ),
    _Line(
        "effective_mvar",
        "Output of the tuned branch",
        "rated_voltage_kv ** 2 / (capacitive_reactance_ohm - inductive_reactance_ohm)",
        ("rated_voltage_kv", "capacitive_reactance_ohm", "inductive_reactance_ohm"),
        lambda u, xc, xl: u**2 / (xc - xl),
        ("tuned_filter",),
    ),
    _Line(
        "capacitor_working_kv",
        "Voltage on the capacitor",
        "rated_voltage_kv * tuned_order ** 2 / (tuned_order ** 2 - 1)",
        ("rated_voltage_kv", "tuned_order"),
        lambda u, order: u * nameplate.voltage_rise(order),
        _FILTERS,
    ),
    _Line(
        "reactor_working_kv",
        "Voltage on the reactor",
        "rated_voltage_kv / (tuned_order ** 2 - 1)",
        ("rated_voltage_kv", "tuned_order"),
        lambda u, order: u * (nameplate.voltage_rise(order) - 1),
        _FILTERS,
    ),
    _Line(
        "working_current_a",
        "Rated current",
        "effective_mvar * 1000 / (sqrt(3) * rated_voltage_kv)",
        ("effective_mvar", "rated_voltage_kv"),
        nameplate.rated_current_a,
        ("tuned_filter",),
    ),
    _Line(
        "working_current_a",
        "Rated current",
        "rated_mvar * 1000 / (sqrt(3) * rated_voltage_kv)",
        ("rated_mvar", "rated_voltage_kv"),
        nameplate.rated_current_a,
        ("shunt_reactor",),
    ),
    _Line(
        "lowest_order",
        "Lowest tuned order that the tolerances allow",
        "tuned_order / sqrt((1 + capacitance_tolerance_pct / 100) * (1 + inductance_tolerance_pct / 100))",
        ("tuned_order", "capacitance_tolerance_pct", "inductance_tolerance_pct"),
        nameplate.drifted_order,
        _FILTERS,
    ),
    _Line(
        "highest_order",
        "Highest tuned order that the tolerances allow",
        "tuned_order / sqrt((1 - capacitance_tolerance_pct / 100) * (1 - inductance_tolerance_pct / 100))",
        ("tuned_order", "capacitance_tolerance_pct", "inductance_tolerance_pct"),
        lambda order, c, inductance: nameplate.drifted_order(order, -c, -inductance),
        _FILTERS,
    ),
)

_OF_A_BRANCH = (
    "tuned_order",
    "capacitance_uf",
    "inductance_mh",
    "rated_mvar",
    "quality_factor",
    "detuning_pct",
    "winding_resistance_ohm",
    "branches",
)

_COMPLETED: Mapping[str, tuple[str, ...]] = {
    "tuned_filter": ("capacitance_uf", "inductance_mh", "tuned_order"),
    "series_reactor": ("inductance_mh",),
    "shunt_reactor": ("inductance_mh",),
}
"""Ratings that follow from the others where they are not stated, by equipment."""


def workings(ratings: Mapping[str, Any]) -> tuple[Working, ...]:
    """Return every figure that follows from these ratings, in the order in which one follows from another.

    Parameters
    ----------
    ratings : Mapping[str, Any]
        Read ratings with ``equipment`` and ``frequency_hz``; a figure whose inputs are not stated is left out.

    Returns
    -------
    tuple[Working, ...]
        Each with its formula and inputs; none that the ratings state themselves.

    Notes
    -----
    A higher tuned order drops less voltage on the reactor and makes it smaller for the same output: U/(h² − 1).

    References
    ----------
    Algebra.

    Examples
    --------
    >>> plate = {"equipment": "tuned_filter", "rated_voltage_kv": 0.48, "rated_mvar": 0.05}
    >>> found = {one.name: one.value for one in workings(plate | {"tuned_order": 5.0, "frequency_hz": 60.0})}
    >>> round(found["capacitive_reactance_ohm"], 3), round(found["inductance_mh"], 4)
    (4.608, 0.4889)
    """
    branches = ratings.get("branches", ())
    if not branches:
        return _workings(ratings)
    return tuple(
        replace(one, name=f"branch_{place}.{one.name}", label=f"Branch {place}: {one.label}")
        for place, own in enumerate(branches, start=1)
        for one in _workings(branch_ratings(ratings, own))
    )


def branch_ratings(ratings: Mapping[str, Any], own: Mapping[str, float]) -> dict[str, Any]:
    """Return the ratings of one branch: its own over those of the bank, of which values of one branch do not count.

    Parameters
    ----------
    ratings, own : Mapping[str, Any]
        Of the bank, and of the branch.

    Returns
    -------
    dict[str, Any]
        What the bank states of a capacitance, an inductance, an order or an output belongs to no single branch.

    Examples
    --------
    >>> branch_ratings({"rated_voltage_kv": 13.8, "rated_mvar": 6.0}, {"tuned_order": 4.7})
    {'rated_voltage_kv': 13.8, 'tuned_order': 4.7}
    """
    return {name: value for name, value in ratings.items() if name not in _OF_A_BRANCH} | dict(own)


def _workings(ratings: Mapping[str, Any]) -> tuple[Working, ...]:
    numbers = {name: value for name, value in ratings.items() if isinstance(value, int | float)}
    if "rated_voltage_kv" in numbers:
        numbers.setdefault("capacitor_voltage_kv", numbers["rated_voltage_kv"])
    found: list[Working] = []
    for line in _LINES:
        if ratings.get("equipment") not in line.kinds or line.name in numbers:
            continue
        inputs = {name: numbers[name] for name in line.inputs if name in numbers}
        if len(inputs) < len(line.inputs):
            continue
        value = _value(line, inputs)
        if value is not None:
            numbers[line.name] = value
            shown = {name: float(f"{one:.9g}") for name, one in inputs.items()}
            found.append(Working(line.name, line.label, line.formula, shown, float(f"{value:.9g}"), unit_of(line.name)))
    return tuple(found)


def _value(line: _Line, inputs: Mapping[str, float]) -> float | None:
    """Return a figure, None where the formula has no positive value for these inputs (an order not above 1)."""
    try:
        value = line.compute(*inputs.values())
    except (ValueError, ZeroDivisionError, OverflowError):
        return None
    return value if math.isfinite(value) and value > 0 else None


def completed(ratings: Mapping[str, Any]) -> dict[str, float]:
    """Return the ratings that are not stated and follow from the others.

    Parameters
    ----------
    ratings : Mapping[str, Any]
        As for `workings`.

    Returns
    -------
    dict[str, float]
        Of a tuned filter's capacitance, inductance and tuned order, and of a reactor's inductance, what can be worked
        out; empty for other equipment.

    Examples
    --------
    >>> completed({"equipment": "bushing", "frequency_hz": 50.0})
    {}
    """
    names = _COMPLETED.get(str(ratings.get("equipment")), ())
    return {one.name: one.value for one in _workings(ratings) if one.name in names} if names else {}


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """A name that formulas of packs may use and that no grammar of theirs can state: inputs, formula, function."""

    inputs: tuple[str, ...]
    formula: str
    compute: Callable[..., float]


WORKED_OUT: dict[str, WorkedOut] = {
    "discharge_resistance_most_ohm": WorkedOut(
        ("capacitance_uf", "rated_voltage_kv", "residual_v", "discharge_within_s"),
        "discharge_within_s / (capacitance_uf * ln(sqrt(2) * rated_voltage_kv / residual_v))",
        lambda c, u, left, within: nameplate.discharge_resistance_most_ohm(c, math.sqrt(2) * u, left, within),
    )
}
"""What packs may name besides ratings, columns and their own values."""
