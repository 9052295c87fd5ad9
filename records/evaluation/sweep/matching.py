"""Which branch of a filter each criterion of its plan means."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.optimize import linear_sum_assignment

from records.evaluation.step import Criterion


def matched(criteria: Sequence[Criterion], values: Sequence[float]) -> dict[int, int]:
    """Return which value each criterion means.

    Parameters
    ----------
    criteria : sequence of Criterion
        Of one quantity, each with a nominal value, or limits.
    values : sequence of float
        The quantity of each branch, above 0.

    Returns
    -------
    dict of int to int
        Place of the criterion to place of the value. A criterion without a nominal value whose ``branch`` is a number
        gets the branch of that number, counted from 1 in rising order of resonance. The others are matched all at once
        so that the sum of the logarithmic distances is least, and no value is meant twice; with fewer values than
        criteria some go without.
    """
    numbers = {place: _number(one) for place, one in enumerate(criteria)}
    found = {place: number - 1 for place, number in numbers.items() if number is not None and number <= len(values)}
    open_criteria = [place for place, number in numbers.items() if number is None]
    left = [place for place in range(len(values)) if place not in found.values()]
    if not open_criteria or not left:
        return found
    cost = np.array([[_distance(criteria[row], values[column]) for column in left] for row in open_criteria])
    rows, columns = linear_sum_assignment(cost)
    return found | {open_criteria[row]: left[column] for row, column in zip(rows, columns, strict=True)}


def _number(criterion: Criterion) -> int | None:
    label = str(criterion.stated.get("branch", ""))
    return int(label) if criterion.nominal is None and label.isdecimal() and int(label) > 0 else None


def target_of(criterion: Criterion) -> float | None:
    """Return the value that a criterion aims at: its nominal one, else the middle of its limits, else its limit."""
    if criterion.nominal is not None:
        return criterion.nominal
    ends = [end for end in (criterion.minimum, criterion.maximum) if end is not None]
    return sum(ends) / len(ends) if ends else None


def _distance(criterion: Criterion, value: float) -> float:
    target = target_of(criterion)
    if target is None or target <= 0 or value <= 0:
        return 0.0
    return abs(math.log(value / target))
