"""Readings and instruments to inputs of a budget, and a small model to a value with its expanded uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from equipment.metrology.budget import Budget, evaluate_budget
from equipment.metrology.formula import Formula, parse
from equipment.metrology.inputs import BudgetError, Input
from equipment.metrology.propagation import effective_degrees_of_freedom
from records.evaluation.examination import NotExaminable
from records.evaluation.measured import resolution_of
from records.readers.recording import Samples

# The probability of k = 2 under a normal distribution: with few degrees of freedom k grows so that it is kept.
COVERAGE_PROBABILITY = math.erf(math.sqrt(2))
_SQRT_12 = math.sqrt(12)


@dataclass(frozen=True)
class Estimate:
    """A value with its standard and expanded uncertainty.

    Attributes
    ----------
    value : float
        Best estimate [any unit].
    standard_uncertainty : float
        u [same unit].
    degrees_of_freedom : float
        Effective, dimensionless; infinite where u counts as exactly known.
    coverage_factor : float
        k for 95.45 %, from the t-distribution, dimensionless; 2 for infinite degrees of freedom.
    """

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float
    coverage_factor: float

    @property
    def expanded_uncertainty(self) -> float:
        """U = k u [same unit]."""
        return self.coverage_factor * self.standard_uncertainty

    def as_input(self, name: str) -> Input:
        """Return the estimate as an input of a further budget."""
        return Input(name, self.value, self.standard_uncertainty, self.degrees_of_freedom)


@lru_cache(maxsize=64)
def _parsed(model: str, names: tuple[str, ...]) -> Formula:
    return parse(model, names)


def estimate(model: str, inputs: Sequence[Input]) -> Estimate:
    """Return a value and its uncertainty by the law of propagation, for independent inputs.

    Parameters
    ----------
    model : str
        A formula of `equipment.metrology.formula`, as ``r * (235 + 75) / (235 + t)``.
    inputs : sequence of Input
        Independent of each other; each occurs in the model.

    Returns
    -------
    Estimate
        u from exact derivatives, effective degrees of freedom by Welch and Satterthwaite, k for 95.45 %.

    Raises
    ------
    FormulaError
        The formula cannot be read.
    NotExaminable
        The model has no value or no derivative at the estimates.

    References
    ----------
    JCGM 100:2008, 5.1 and G.4 (from memory).

    Examples
    --------
    >>> estimate("a + b", [Input("a", 1.0, 3.0), Input("b", 2.0, 4.0)])
    Estimate(value=3.0, standard_uncertainty=5.0, degrees_of_freedom=inf, coverage_factor=2.0)
    """
    formula = _parsed(model, tuple(item.name for item in inputs))
    budget = Budget({"y": formula}, tuple(inputs), np.eye(len(inputs)), COVERAGE_PROBABILITY)
    try:
        statement = evaluate_budget(budget).statements["y"]
    except BudgetError as fault:
        raise NotExaminable(f"No value follows from the numbers of the record: {fault.fact.lower()}.") from fault
    freedom = statement.effective_degrees_of_freedom
    return Estimate(
        statement.value,
        statement.standard_uncertainty,
        math.inf if freedom is None else freedom,
        round(statement.coverage_factor, 2),  # as it is stated; U is reckoned with it
    )


def combined(name: str, value: float, parts: Sequence[tuple[float, float]]) -> Input:
    """Return one input from several independent contributions to its uncertainty.

    Parameters
    ----------
    name : str
        As it occurs in the model.
    value : float
        Best estimate [any unit].
    parts : sequence of (float, float)
        Standard uncertainty [same unit] and degrees of freedom of each contribution.

    Returns
    -------
    Input
        u by root of squares, degrees of freedom by Welch and Satterthwaite (at least 1).

    Examples
    --------
    >>> combined("r", 1.0, [(3.0, math.inf), (4.0, math.inf)]).standard_uncertainty
    5.0
    """
    u = math.hypot(*(part for part, _ in parts)) if parts else 0.0
    freedom = effective_degrees_of_freedom([part for part, _ in parts], [freedom for _, freedom in parts])
    return Input(name, value, u, max(1.0, freedom))


def resolution_part(values: Samples, scatter: float = 0.0) -> tuple[float, float]:
    """Return what the resolution of readings adds: a twelfth of its square, in every reading alike.

    Readings that scatter by half a step or more average the steps out, and their scatter holds them already.

    Parameters
    ----------
    values : ndarray (n,)
        Readings [any unit].
    scatter : float
        Standard deviation of a single reading [same unit].

    Returns
    -------
    tuple of (float, float)
        Standard uncertainty [same unit] and infinite degrees of freedom.

    References
    ----------
    JCGM 100:2008, F.2.2.1 (from memory). From half a step on: the error of a mean is then below 1 % of a step, worked
    from the Fourier series of rounding.
    """
    step = resolution_of(values)
    return (step / _SQRT_12 if scatter < step / 2 else 0.0), math.inf


def repeatability_part(values: Samples) -> tuple[float, float]:
    """Return what the scatter of readings adds to their mean: s/√n with n − 1 degrees of freedom.

    Parameters
    ----------
    values : ndarray (n,)
        Readings [any unit]; one alone tells no scatter and adds nothing.

    Returns
    -------
    tuple of (float, float)
        Standard uncertainty of the mean [same unit] and degrees of freedom.

    References
    ----------
    JCGM 100:2008, 4.2 (from memory).
    """
    if len(values) < 2:
        return 0.0, math.inf
    return float(np.std(values, ddof=1)) / math.sqrt(len(values)), float(len(values) - 1)


def mean_of(name: str, values: Samples, others: Sequence[tuple[float, float]] = ()) -> Input:
    """Return the mean of repeated readings as an input: repeatability, resolution, and what else is given.

    Parameters
    ----------
    name : str
        As it occurs in the model.
    values : ndarray (n,)
        Readings of one quantity, n at least 1 [any unit].
    others : sequence of (float, float)
        Further contributions, as those of instruments: standard uncertainty [same unit] and degrees of freedom.

    Returns
    -------
    Input
        With effective degrees of freedom.
    """
    scatter = float(np.std(values, ddof=1)) if len(values) > 1 else 0.0
    parts = [repeatability_part(values), resolution_part(values, scatter), *others]
    return combined(name, float(np.mean(values)), parts)
