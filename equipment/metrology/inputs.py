"""Inputs of an uncertainty budget: four ways to state what is known of a quantity, read from a JSON object."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

DIVISORS: Mapping[str, float] = {"rectangular": math.sqrt(3), "triangular": math.sqrt(6), "arcsine": math.sqrt(2)}


class BudgetError(ValueError):
    """A budget cannot be used: ``place`` is the path in the file, ``mend`` says what to write instead."""

    def __init__(self, fact: str, *, place: str, mend: str) -> None:
        super().__init__(f"{place}: {fact}; {mend}")
        self.fact, self.place, self.mend = fact, place, mend


@dataclass(frozen=True)
class Input:
    """What is known of one input quantity.

    Attributes
    ----------
    name : str
        As it occurs in the model.
    value : float
        Best estimate [unit of the input].
    standard_uncertainty : float
        u [unit of the input].
    degrees_of_freedom : float
        ν, dimensionless; infinite where the uncertainty is taken as exactly known.
    distribution : str
        ``normal``, ``rectangular``, ``triangular`` or ``arcsine``; ``normal`` with finite ν means a scaled t.
    observations : tuple of float
        Single observations, where the estimate is their mean [unit of the input].
    """

    name: str
    value: float
    standard_uncertainty: float
    degrees_of_freedom: float = math.inf
    distribution: str = "normal"
    observations: tuple[float, ...] = ()


def read_number(table: Mapping[str, Any], key: str, place: str) -> float:
    """Return a finite number of a JSON object.

    Parameters
    ----------
    table : mapping
        The JSON object.
    key : str
        Which member.
    place : str
        Path of the object, for the refusal.

    Returns
    -------
    float
        The number.

    Raises
    ------
    BudgetError
        The member is absent, not a number (true and false are none), or not finite.

    Examples
    --------
    >>> read_number({"value": 3}, "value", "inputs[0]")
    3.0
    """
    where = f"{place}.{key}" if place else key
    if key not in table:
        raise BudgetError("is missing", place=where, mend="add it as a number")
    number = table[key]
    if isinstance(number, bool) or not isinstance(number, int | float):
        raise BudgetError(f"{number!r} is not a number", place=where, mend="write a number without quotes")
    try:
        number = float(number)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise BudgetError("is not finite", place=where, mend="write a finite number")
    return number


def _read_positive(table: Mapping[str, Any], key: str, place: str, *, zero: bool = False, least: float = 0.0) -> float:
    number = read_number(table, key, place)
    if number < least or (number == 0 and not zero):
        lowest = f"at least {least:g}" if zero or least else "above 0"
        raise BudgetError(f"{number:g} is too small", place=f"{place}.{key}", mend=f"write a number {lowest}")
    return number


def _standard(table: Mapping[str, Any], name: str, place: str) -> Input:
    freedom = math.inf
    if table.get("degrees_of_freedom") is not None:
        freedom = _read_positive(table, "degrees_of_freedom", place, least=1.0)
    u = _read_positive(table, "standard_uncertainty", place, zero=True)
    return Input(name, read_number(table, "value", place), u, freedom)


def _half_width(table: Mapping[str, Any], name: str, place: str) -> Input:
    shape = table.get("distribution")
    if not isinstance(shape, str) or shape not in DIVISORS:
        known = ", ".join(DIVISORS)
        fact = "is missing" if shape is None else f"{shape!r} is not known"
        raise BudgetError(fact, place=f"{place}.distribution", mend=f"write one of {known}")
    freedom = math.inf
    if table.get("degrees_of_freedom") is not None:
        freedom = _read_positive(table, "degrees_of_freedom", place, least=1.0)
    u = _read_positive(table, "half_width", place, zero=True) / DIVISORS[shape]
    return Input(name, read_number(table, "value", place), u, freedom, shape)


def _expanded(table: Mapping[str, Any], name: str, place: str) -> Input:
    freedom = math.inf
    if table.get("degrees_of_freedom") is not None:
        freedom = _read_positive(table, "degrees_of_freedom", place, least=1.0)
    expanded = _read_positive(table, "expanded_uncertainty", place, zero=True)
    u = expanded / _read_positive(table, "coverage_factor", place)
    return Input(name, read_number(table, "value", place), u, freedom)


def _observed(table: Mapping[str, Any], name: str, place: str) -> Input:
    where = f"{place}.observations"
    listed = table["observations"]
    if not isinstance(listed, list) or len(listed) < 2:
        raise BudgetError("needs a list of at least two numbers", place=where, mend="list each single observation")
    numbers = [read_number({f"[{n}]": item}, f"[{n}]", where) for n, item in enumerate(listed)]
    return from_observations(name, numbers)


def from_observations(name: str, observations: Sequence[float]) -> Input:
    """Return an input from repeated observations (evaluation of type A).

    x̄ = Σ x / n, u = s / √n with the experimental standard deviation s, ν = n − 1.

    Parameters
    ----------
    name : str
        As it occurs in the model.
    observations : sequence of float, shape (n,)
        At least two [unit of the input].

    Returns
    -------
    Input
        With the observations kept.

    Raises
    ------
    statistics.StatisticsError
        There are fewer than two observations.

    References
    ----------
    JCGM 100:2008, 4.2 (from memory).

    Examples
    --------
    >>> from_observations("v", [1.0, 2.0, 3.0]).degrees_of_freedom
    2.0
    """
    n = len(observations)
    u = statistics.stdev(observations) / math.sqrt(n)
    return Input(name, statistics.fmean(observations), u, float(n - 1), observations=tuple(map(float, observations)))


_KINDS: Mapping[str, tuple[Callable[[Mapping[str, Any], str, str], Input], frozenset[str]]] = {
    "standard_uncertainty": (_standard, frozenset({"value", "degrees_of_freedom"})),
    "half_width": (_half_width, frozenset({"value", "distribution", "degrees_of_freedom"})),
    "expanded_uncertainty": (_expanded, frozenset({"value", "coverage_factor", "degrees_of_freedom"})),
    "observations": (_observed, frozenset()),
}
_ALWAYS = frozenset({"name", "unit", "note"})


def read_input(table: Any, place: str) -> Input:
    """Read one input of a budget.

    Parameters
    ----------
    table : object
        A JSON object with ``name`` and exactly one of ``standard_uncertainty`` (with ``value`` and, if finite,
        ``degrees_of_freedom``), ``half_width`` (with ``value`` and ``distribution``: rectangular a/√3, triangular
        a/√6, arcsine a/√2), ``expanded_uncertainty`` (with ``value`` and ``coverage_factor``), ``observations``.
    place : str
        Path in the file, for refusals.

    Returns
    -------
    Input
        Frozen.

    Raises
    ------
    BudgetError
        A member is missing, unknown, contradictory, or not a usable number.

    References
    ----------
    JCGM 100:2008, 4.2 and 4.3 (from memory).

    Examples
    --------
    >>> read_input({"name": "d", "value": 0, "expanded_uncertainty": 4, "coverage_factor": 2}, "inputs[0]")
    Input(name='d', value=0.0, standard_uncertainty=2.0, degrees_of_freedom=inf, distribution='normal', observations=())
    """
    if not isinstance(table, dict):
        raise BudgetError("is not an object", place=place, mend='write {"name": …, "value": …, …}')
    name = table.get("name")
    if not isinstance(name, str) or not name:
        raise BudgetError("is missing or no text", place=f"{place}.name", mend="name the input as the model does")
    kinds = [kind for kind in _KINDS if kind in table]
    if len(kinds) != 1:
        fact = f"“{name}” states {' and '.join(kinds) or 'no uncertainty'}"
        raise BudgetError(fact, place=place, mend=f"state exactly one of {', '.join(_KINDS)}")
    reader, companions = _KINDS[kinds[0]]
    for key in table:
        if key not in companions | _ALWAYS | {kinds[0]}:
            known = ", ".join(sorted(companions)) or "nothing else"
            raise BudgetError("is not expected here", place=f"{place}.{key}", mend=f"with {kinds[0]} write {known}")
    return reader(table, name, place)
