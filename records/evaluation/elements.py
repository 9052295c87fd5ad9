"""What one lost element does to the capacitance of a unit built of many."""

from __future__ import annotations


def share_of_short_circuit(series_elements: int) -> float:
    """Return the change of capacitance when one of n series elements is short-circuited.

    n elements c in series have c/n; n − 1 have c/(n − 1): the change is +1/(n − 1).

    Parameters
    ----------
    series_elements : int
        n, at least 2.

    Returns
    -------
    float
        Change relative to the whole unit, dimensionless, positive.

    Raises
    ------
    ValueError
        n is below 2.

    References
    ----------
    Algebra of capacitors in series; no source needed.

    Examples
    --------
    >>> share_of_short_circuit(11)
    0.1
    """
    if series_elements < 2:
        raise ValueError("A share needs at least 2 elements in series.")
    return 1 / (series_elements - 1)


def share_of_blown_fuse(series_elements: int, parallel_elements: int) -> float:
    """Return the change of capacitance when the internal fuse of one element opens.

    One group of p parallel elements becomes p − 1: the change is −1/(n (p − 1) + 1).

    Parameters
    ----------
    series_elements : int
        n, groups in series, at least 1.
    parallel_elements : int
        p, elements in each group, at least 2.

    Returns
    -------
    float
        Change relative to the whole unit, dimensionless, negative.

    Raises
    ------
    ValueError
        n is below 1 or p below 2.

    References
    ----------
    Algebra of capacitors in series and parallel; no source needed.

    Examples
    --------
    >>> share_of_blown_fuse(1, 10)
    -0.1
    """
    if series_elements < 1 or parallel_elements < 2:
        raise ValueError("A share needs a group in series and at least 2 elements in parallel.")
    return -1 / (series_elements * (parallel_elements - 1) + 1)
