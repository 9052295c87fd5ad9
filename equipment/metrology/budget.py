"""Uncertainty budgets: from the JSON object of the shell contract to the uncertainty statement."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .formula import Formula, FormulaError, parse
from .inputs import BudgetError, Input, read_input, read_number
from .propagation import (
    correlation_matrix,
    covariance_of_results,
    coverage_factor,
    effective_degrees_of_freedom,
    is_possible_correlation,
)

CORRELATED_NOTE = (
    "Inputs are correlated, so the Welch-Satterthwaite formula does not apply; "
    "the coverage factor is that of infinite degrees of freedom."
)
_KEYS = {
    *("measurand", "unit", "note", "model", "models", "inputs", "correlations", "correlate_observations"),
    *("coverage_probability", "coverage_factor", "monte_carlo"),
}


@dataclass(frozen=True)
class Budget:
    """A checked budget: models by name, inputs, their correlations (n, n), and what coverage was asked for."""

    models: Mapping[str, Formula]
    inputs: tuple[Input, ...]
    correlations: NDArray[np.float64]
    coverage_probability: float = 0.95
    fixed_coverage_factor: float | None = None
    measurand: str = ""
    unit: str = ""
    single: bool = True


@dataclass(frozen=True)
class Contribution:
    """One line of a budget: ``contribution`` is |c| u [unit of the result], ``share`` its part of u_c² (sum 1)."""

    name: str
    sensitivity: float
    standard_uncertainty: float
    contribution: float
    share: float


@dataclass(frozen=True)
class Statement:
    """Uncertainty statement of one measurand; effective degrees of freedom are None where inputs are correlated."""

    value: float
    standard_uncertainty: float
    effective_degrees_of_freedom: float | None
    coverage_factor: float
    expanded_uncertainty: float
    contributions: tuple[Contribution, ...]
    notes: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the statement for JSON; infinite degrees of freedom are null, as are those that do not exist."""
        freedom = self.effective_degrees_of_freedom
        return {
            "value": self.value,
            "standard_uncertainty": self.standard_uncertainty,
            "effective_degrees_of_freedom": None if freedom is None or math.isinf(freedom) else freedom,
            "coverage_factor": self.coverage_factor,
            "expanded_uncertainty": self.expanded_uncertainty,
            "contributions": [vars(line) | {} for line in self.contributions],
            "notes": list(self.notes),
        }


@dataclass(frozen=True)
class BudgetResult:
    """Statements by model name, with the correlation matrix of the results (m, m) in the same order."""

    budget: Budget
    statements: Mapping[str, Statement]
    correlations: NDArray[np.float64]

    def as_dict(self) -> dict[str, Any]:
        """Return the answer of the shell contract: one statement, or ``models`` with ``correlation_matrix``."""
        head = {key: text for key in ("measurand", "unit") if (text := getattr(self.budget, key))}
        head["coverage_probability"] = self.budget.coverage_probability
        if self.budget.single:
            return head | next(iter(self.statements.values())).as_dict()
        names = list(self.statements)
        return head | {
            "models": {name: statement.as_dict() for name, statement in self.statements.items()},
            "correlation_matrix": {
                row: {column: float(self.correlations[i, j]) for j, column in enumerate(names)}
                for i, row in enumerate(names)
            },
        }


def read_budget(table: Any) -> Budget:
    """Check a budget as read from JSON.

    Parameters
    ----------
    table : object
        ``model`` (a formula) or ``models`` (name to formula), ``inputs`` (see `inputs.read_input`), and optionally
        ``correlations`` ([name, name, r]), ``correlate_observations`` (true: equally long observations of different
        inputs were made together, their correlation is computed; pairs stated win), ``coverage_probability``
        (default 0.95) or ``coverage_factor`` (then k is fixed), ``measurand``, ``unit``, ``monte_carlo``, ``note``.

    Returns
    -------
    Budget
        Frozen.

    Raises
    ------
    BudgetError
        With the place in the file and the mend.

    Examples
    --------
    >>> sum_of_two = {"model": "a + b", "inputs": [
    ...     {"name": "a", "value": 1, "standard_uncertainty": 3}, {"name": "b", "value": 2, "standard_uncertainty": 4}]}
    >>> evaluate_budget(read_budget(sum_of_two)).as_dict()["standard_uncertainty"]
    5.0
    """
    if not isinstance(table, dict):
        raise BudgetError("is not an object", place="the file", mend='write {"model": …, "inputs": […]}')
    for key in table:
        if key not in _KEYS:
            raise BudgetError("is not known", place=key, mend=f"use only {', '.join(sorted(_KEYS))}")
    inputs = _read_inputs(table.get("inputs"))
    probability = read_number(table, "coverage_probability", "") if "coverage_probability" in table else 0.95
    if not 0 < probability < 1:
        mend = "write a number between 0 and 1, for instance 0.95"
        raise BudgetError(f"{probability:g} is no probability", place="coverage_probability", mend=mend)
    fixed = read_number(table, "coverage_factor", "") if "coverage_factor" in table else None
    if fixed is not None and fixed <= 0:
        raise BudgetError(f"{fixed:g} is too small", place="coverage_factor", mend="write a number above 0")
    for key in ("measurand", "unit"):
        if not isinstance(table.get(key, ""), str):
            raise BudgetError("is no text", place=key, mend="write it in quotes")
    return Budget(
        _read_models(table, [item.name for item in inputs]),
        inputs,
        _read_correlations(table, inputs),
        probability,
        fixed,
        table.get("measurand", ""),
        table.get("unit", ""),
        single="model" in table,
    )


def _read_inputs(listed: Any) -> tuple[Input, ...]:
    if not isinstance(listed, list) or not listed:
        raise BudgetError("is missing or empty", place="inputs", mend="list at least one input")
    inputs = tuple(read_input(item, f"inputs[{n}]") for n, item in enumerate(listed))
    names = [item.name for item in inputs]
    for n, name in enumerate(names):
        if name in names[:n]:
            raise BudgetError(f"“{name}” occurs twice", place=f"inputs[{n}].name", mend="give each its own name")
    return inputs


def _read_models(table: Mapping[str, Any], names: list[str]) -> dict[str, Formula]:
    if ("model" in table) == ("models" in table):
        raise BudgetError("needs model or models, one of the two", place="model", mend="write one formula or several")
    single = "model" in table
    texts = {"model": table["model"]} if single else table["models"]
    if not isinstance(texts, dict) or not texts:
        raise BudgetError("is no object of formulas", place="models", mend='write {"r": "…", "x": "…"}')
    formulas = {}
    for name, text in texts.items():
        place = "model" if single else f"models.{name}"
        if not isinstance(text, str):
            raise BudgetError("is no formula", place=place, mend="write it as text in quotes")
        try:
            formulas[name] = parse(text, names)
        except FormulaError as error:
            raise BudgetError(error.fact, place=f"{place}, {error.place}", mend=error.mend.rstrip(".")) from None
    used = {name for formula in formulas.values() for name in formula.names()}
    for n, name in enumerate(names):
        if name not in used:
            raise BudgetError(f"“{name}” does not occur in the model", place=f"inputs[{n}]", mend="use it or remove it")
    return formulas


def _read_correlations(table: Mapping[str, Any], inputs: tuple[Input, ...]) -> NDArray[np.float64]:
    matrix = np.eye(len(inputs))
    together = table.get("correlate_observations", False)
    if not isinstance(together, bool):
        raise BudgetError("is neither true nor false", place="correlate_observations", mend="write true or false")
    if together:
        _correlate_observations(matrix, inputs)
    index = {item.name: n for n, item in enumerate(inputs)}
    listed = table.get("correlations", [])
    if not isinstance(listed, list):
        raise BudgetError("is no list", place="correlations", mend='write [["a", "b", 0.5], …]')
    seen: set[frozenset[str]] = set()
    for n, entry in enumerate(listed):
        first, second, r = _read_pair(entry, f"correlations[{n}]", index)
        if frozenset((first, second)) in seen:
            raise BudgetError("repeats a pair", place=f"correlations[{n}]", mend="state each pair once")
        seen.add(frozenset((first, second)))
        matrix[index[first], index[second]] = matrix[index[second], index[first]] = r
    if not is_possible_correlation(matrix):
        mend = "check the signs and values of the pairs"
        raise BudgetError("the correlations contradict each other", place="correlations", mend=mend)
    return matrix


def _read_pair(entry: Any, place: str, index: Mapping[str, int]) -> tuple[str, str, float]:
    if not isinstance(entry, list) or len(entry) != 3:
        raise BudgetError("is not [name, name, number]", place=place, mend='write for instance ["a", "b", 0.5]')
    first, second, _ = entry
    for name in (first, second):
        if not isinstance(name, str) or name not in index:
            raise BudgetError(f"{name!r} is no input", place=place, mend=f"use one of {', '.join(index)}")
    if first == second:
        raise BudgetError("pairs an input with itself", place=place, mend="name two different inputs")
    r = read_number({"[2]": entry[2]}, "[2]", place)
    if abs(r) > 1:
        raise BudgetError(f"{r:g} is no correlation", place=place, mend="write a number from -1 to 1")
    return first, second, r


def _correlate_observations(matrix: NDArray[np.float64], inputs: tuple[Input, ...]) -> None:
    for i, one in enumerate(inputs):
        for j, other in enumerate(inputs[:i]):
            if one.observations and len(one.observations) == len(other.observations):
                # Correlation of the means equals that of the single observations (JCGM 100:2008, 5.2.3).
                a, b = (np.asarray(item.observations) - item.value for item in (one, other))
                norm = math.sqrt(float(a @ a) * float(b @ b))
                matrix[i, j] = matrix[j, i] = float(a @ b) / norm if norm else 0.0


def evaluate_budget(budget: Budget) -> BudgetResult:
    """Propagate the uncertainties of a budget through its models.

    u_c² = Σ Σ c_i c_j u_i u_j r_ij with exact derivatives c at the estimates; U = k u_c with k from the
    t-distribution at the truncated effective degrees of freedom, or the fixed k of the budget.

    Parameters
    ----------
    budget : Budget
        As `read_budget` gives it.

    Returns
    -------
    BudgetResult
        Frozen. The share of a contribution is c_i u_i Σ_j r_ij c_j u_j / u_c²: with correlated inputs it may be
        negative; all shares add up to 1, or are 0 where nothing is uncertain.

    Raises
    ------
    BudgetError
        A model has no value or no derivative at the estimates, or a result is too large.

    Notes
    -----
    Where two correlated inputs both contribute to a measurand, effective degrees of freedom are not stated, a note
    says so and k is that of the normal distribution.

    References
    ----------
    JCGM 100:2008, 5.1, 5.2, G.4 (from memory).

    Examples
    --------
    See `read_budget`.
    """
    values = {item.name: item.value for item in budget.inputs}
    uncertainties = np.array([item.standard_uncertainty for item in budget.inputs])
    estimates, rows = {}, []
    for name, formula in budget.models.items():
        try:
            linear = formula.linearise(values)
        except FormulaError as error:
            place = "model" if budget.single else f"models.{name}"
            raise BudgetError(error.fact, place=f"{place}, {error.place}", mend=error.mend.rstrip(".")) from None
        estimates[name] = linear.value
        rows.append([linear.derivatives.get(item.name, 0.0) for item in budget.inputs])
    with np.errstate(all="ignore"):
        covariance = covariance_of_results(rows, uncertainties, budget.correlations)
    if not np.isfinite(covariance).all():
        mend = "state values and uncertainties in a more fitting unit"
        raise BudgetError("an uncertainty becomes too large", place="inputs", mend=mend)
    statements = {
        name: _state(budget, estimates[name], np.array(row), uncertainties, max(0.0, float(covariance[n, n])))
        for n, (name, row) in enumerate(zip(budget.models, rows, strict=True))
    }
    return BudgetResult(budget, statements, correlation_matrix(covariance))


def _state(
    budget: Budget, value: float, slopes: NDArray[np.float64], uncertainties: NDArray[np.float64], variance: float
) -> Statement:
    signed = slopes * uncertainties
    combined = math.sqrt(variance)
    shares = signed * (budget.correlations @ signed) / variance if variance > 0 else np.zeros_like(signed)
    pairs = budget.correlations - np.eye(len(signed))
    is_correlated = bool((np.outer(signed, signed) * pairs).any())
    freedom = None
    if not is_correlated:
        freedom = effective_degrees_of_freedom(
            [abs(float(part)) for part in signed], [item.degrees_of_freedom for item in budget.inputs]
        )
    k = budget.fixed_coverage_factor
    if k is None:
        k = coverage_factor(budget.coverage_probability, math.inf if freedom is None else freedom)
    lines = tuple(
        Contribution(item.name, float(slope), item.standard_uncertainty, abs(float(part)), float(share))
        for item, slope, part, share in zip(budget.inputs, slopes, signed, shares, strict=True)
    )
    return Statement(value, combined, freedom, k, k * combined, lines, (CORRELATED_NOTE,) if is_correlated else ())
