"""Propagation of distributions by Monte Carlo: the cross-check of a budget where the model bends."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from .budget import Budget
from .inputs import BudgetError, Input


@dataclass(frozen=True)
class MonteCarloResult:
    """Mean, standard deviation and probabilistically symmetric coverage interval of one measurand [its unit]."""

    mean: float
    standard_uncertainty: float
    low: float
    high: float
    coverage_probability: float
    trials: int
    seed: int

    def as_dict(self) -> dict[str, Any]:
        """Return the result for JSON."""
        return {
            "mean": self.mean,
            "standard_uncertainty": self.standard_uncertainty,
            "coverage_interval": [self.low, self.high],
            "coverage_probability": self.coverage_probability,
            "trials": self.trials,
            "seed": self.seed,
        }


def _deviates(item: Input, normal: NDArray[np.float64], chance: np.random.Generator) -> NDArray[np.float64]:
    """Return draws of (X - x) / u for the input's distribution, from standard normal draws (a Gaussian copula)."""
    if item.distribution == "rectangular":
        return math.sqrt(3) * (2 * special.ndtr(normal) - 1)
    if item.distribution == "arcsine":
        return math.sqrt(2) * -np.cos(np.pi * special.ndtr(normal))
    if item.distribution == "triangular":
        lower = special.ndtr(-np.abs(normal))  # 0 to 1/2: the distance to the nearer end is sqrt(2 lower)
        return math.sqrt(6) * np.copysign(1 - np.sqrt(2 * lower), normal)
    if math.isfinite(item.degrees_of_freedom):
        spread = chance.chisquare(item.degrees_of_freedom, normal.shape)
        return normal * np.sqrt(item.degrees_of_freedom / spread)
    return normal


def _factor(correlations: NDArray[np.float64]) -> NDArray[np.float64]:
    eigenvalues, vectors = np.linalg.eigh(correlations)
    return vectors * np.sqrt(np.clip(eigenvalues, 0.0, None))


def propagate(budget: Budget, *, trials: int = 200_000, seed: int = 1) -> Mapping[str, MonteCarloResult]:
    """Draw the inputs, evaluate the models, and summarise each measurand.

    Parameters
    ----------
    budget : Budget
        As `budget.read_budget` gives it.
    trials : int
        Number of draws, 1000 to 5 000 000.
    seed : int
        Of the generator (PCG64); the same seed gives the same answer.

    Returns
    -------
    mapping of str to MonteCarloResult
        By model name. The interval takes the quantiles (1 − p)/2 and (1 + p)/2.

    Raises
    ------
    ValueError
        The number of trials lies outside.
    BudgetError
        A model has no value for some of the draws.

    Notes
    -----
    Distributions: normal; scaled and shifted t for finite degrees of freedom of a type A or stated uncertainty
    (with ν ≤ 2 its standard deviation does not exist and the one returned is meaningless; the interval is sound);
    rectangular, triangular, arcsine by half width, whose finite degrees of freedom are left out. Correlated inputs
    are joined by a Gaussian copula: exact for normal ones, approximate otherwise.

    References
    ----------
    JCGM 101:2008, 6.4, 7 (from memory).

    Examples
    --------
    >>> from equipment.metrology.budget import read_budget
    >>> one = read_budget({"model": "a", "inputs": [{"name": "a", "value": 5, "standard_uncertainty": 0}]})
    >>> propagate(one, trials=1000)["model"].mean
    5.0
    """
    if not 1000 <= trials <= 5_000_000:
        raise ValueError("The number of trials must lie between 1000 and 5 000 000.")
    chance = np.random.default_rng(seed)
    normal = _factor(budget.correlations) @ chance.standard_normal((len(budget.inputs), trials))
    draws = {
        item.name: item.value + item.standard_uncertainty * _deviates(item, normal[n], chance)
        for n, item in enumerate(budget.inputs)
    }
    tails = [(1 - budget.coverage_probability) / 2, (1 + budget.coverage_probability) / 2]
    results = {}
    for name, formula in budget.models.items():
        outcome = np.broadcast_to(formula.evaluate_many(draws), (trials,))
        lost = int(np.count_nonzero(~np.isfinite(outcome)))
        if lost:
            place = "model" if budget.single else f"models.{name}"
            fact = f"{lost} of {trials} draws have no value"
            raise BudgetError(fact, place=place, mend="narrow the inputs or change the model")
        low, high = np.quantile(outcome, tails)
        spread = float(outcome.std(ddof=1))
        probability = budget.coverage_probability
        results[name] = MonteCarloResult(
            float(outcome.mean()), spread, float(low), float(high), probability, trials, seed
        )
    return results
