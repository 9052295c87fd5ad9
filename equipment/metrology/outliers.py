"""Values that do not belong to a series: by their distance from the median."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def outliers(values: Sequence[float], *, limit: float = 3.5) -> tuple[bool, ...]:
    """Tell for each value whether its modified z-score, 0.6745 (x − median) / MAD, is beyond the limit.

    Parameters
    ----------
    values : sequence of float, shape (n,)
        Finite; of fewer than 5 none is called an outlier, since nobody could tell.
    limit : float
        Above 0, dimensionless.

    Returns
    -------
    tuple of bool, shape (n,)
        Where more than half of the values are equal, those that differ are outliers.

    Raises
    ------
    ValueError
        A value is not finite.

    References
    ----------
    B. Iglewicz and D. Hoaglin, How to Detect and Handle Outliers (1993), limit 3.5 (from memory).

    Examples
    --------
    >>> outliers([10, 11, 10, 12, 11, 30])
    (False, False, False, False, False, True)
    """
    series = np.asarray(values, dtype=float)
    if not np.isfinite(series).all():
        raise ValueError("Every value must be a finite number.")
    if series.size < 5:
        return (False,) * int(series.size)
    distances = np.abs(series - np.median(series))
    spread = float(np.median(distances))
    marked = distances > 0 if spread == 0 else 0.6745 * distances / spread > limit
    return tuple(bool(mark) for mark in marked)
