"""Long records thinned for pictures by minima and maxima, so that no spike is lost."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from records.readers.recording import Samples


def thin(
    time_s: Samples, values: Samples, points: int, *, window: tuple[float, float] | None = None
) -> tuple[Samples, Samples]:
    """Return at most `points` samples that keep the extremes of every part of the record.

    Parameters
    ----------
    time_s, values : ndarray (n,)
        Times [s], never falling, and samples [any unit].
    points : int
        Most points to give back, at least 4.
    window : tuple of float, optional
        First and last time to keep [s]; the sample before and the one after are kept too, so that a line reaches
        the edges.

    Returns
    -------
    tuple of (ndarray (m,), ndarray (m,))
        Times and values in order of time, all of them samples of the record; m is at most `points`.

    Raises
    ------
    ValueError
        Fewer than 4 points are asked for, or the arrays differ in length.

    Notes
    -----
    The first and the last sample are kept, and of each of (points - 2) // 2 equal parts between them the least and the
    greatest. Every n-th sample alone would lose discharge pulses.

    Examples
    --------
    >>> t = np.arange(1000.0)
    >>> v = np.zeros(1000); v[517] = 80.0
    >>> float(thin(t, v, 20)[1].max())
    80.0
    """
    if points < 4:
        raise ValueError("At least 4 points are needed.")
    if len(time_s) != len(values):
        raise ValueError("Times and values differ in length.")
    if window is not None:
        first = max(int(np.searchsorted(time_s, window[0])) - 1, 0)
        last = min(int(np.searchsorted(time_s, window[1], side="right")) + 1, len(time_s))
        time_s, values = time_s[first:last], values[first:last]
    if len(time_s) <= points:
        return time_s, values
    kept = _extremes(values, (points - 2) // 2)
    return time_s[kept], values[kept]


def thin_dots(
    time_s: Samples,
    values: Samples,
    *,
    columns: int = 240,
    rows: int = 40,
    window: tuple[float, float] | None = None,
) -> tuple[Samples, Samples]:
    """Return single events thinned to one for each cell of a grid over time and value: the greatest in it.

    Parameters
    ----------
    time_s, values : ndarray (n,)
        Times [s], never falling, and values [any unit], at least 0.
    columns, rows : int
        Cells across and up; as many events may be given back as there are cells.
    window : tuple of float, optional
        First and last time to keep [s].

    Returns
    -------
    tuple of (ndarray (m,), ndarray (m,))
        Times and values in order of time, all of them events of the record, the greatest of each column among them.

    Examples
    --------
    >>> times, shown = thin_dots(np.array([0.0, 0.1, 9.0]), np.array([5.0, 5.1, 80.0]))
    >>> shown.tolist()
    [5.1, 80.0]
    """
    if window is not None:
        first, last = np.searchsorted(time_s, window[0]), np.searchsorted(time_s, window[1], side="right")
        time_s, values = time_s[first:last], values[first:last]
    if not len(time_s):
        return time_s, values
    begin, span = float(time_s[0]), float(time_s[-1] - time_s[0]) or 1.0
    top = float(values.max()) or 1.0
    across = np.minimum((time_s - begin) / span * columns, columns - 1).astype(np.intp)
    up = np.minimum(np.maximum(values, 0.0) / top * rows, rows - 1).astype(np.intp)
    order = np.argsort(-values, kind="stable")
    _, firsts = np.unique((across * rows + up)[order], return_index=True)
    kept = np.sort(order[firsts])
    return time_s[kept], values[kept]


def thinned_trend(time_s: Samples, voltage_kv: Samples, points: int = 1500) -> dict[str, list[float]]:
    """Return a voltage that was computed from a record as plain values that a picture is drawn from.

    Parameters
    ----------
    time_s, voltage_kv : ndarray (n,)
        Times [s] and r.m.s. voltage [kV].
    points : int
        Most points.

    Returns
    -------
    dict
        ``time_s`` and ``voltage_kv`` as lists.
    """
    times, volts = thin(time_s, voltage_kv, points)
    return {
        "time_s": [float(f"{one:.9g}") for one in times],
        "voltage_kv": [float(f"{one:.6g}") for one in volts],
    }


def _extremes(values: Samples, parts: int) -> NDArray[np.intp]:
    """Return the sorted places of the first and last sample and of each part's least and greatest."""
    inner = values[1:-1]
    size = -(-len(inner) // parts)
    whole = len(inner) // size
    blocks = inner[: whole * size].reshape(whole, size)
    base = np.arange(whole) * size + 1
    places = [base + blocks.argmin(axis=1), base + blocks.argmax(axis=1)]
    rest = inner[whole * size :]
    if len(rest):
        start = whole * size + 1
        places.append(np.array([start + int(rest.argmin()), start + int(rest.argmax())]))
    return np.unique(np.concatenate([[0], *places, [len(values) - 1]]).astype(np.intp))
