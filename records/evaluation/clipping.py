"""Whether a record is cut off at the edge of an instrument's range."""

from __future__ import annotations

import numpy as np

from records.readers.recording import Samples

_LEAST = 5  # equal greatest samples in a row from which on a record is examined
_LEAST_AT_END, _LEAST_DIFFERENT, _PILED = 10, 20, 5


def clipped_samples(values: Samples, resolution: float) -> int:
    """Return over how many samples the greatest value stands longer than resolution and slopes explain; 0 if none.

    A smooth top written with a coarse resolution is flat too, but then it falls away slowly beside the flat part. A
    parabola over the chord of the flat part would rise an eighth of what the curve falls over an equal width beside
    it; where that is more than two steps of resolution, something was cut off.

    Parameters
    ----------
    values : ndarray (n,)
        Samples [any unit], turned so that the edge in question is the greatest value.
    resolution : float
        Step with which they were written [same unit].

    Returns
    -------
    int
        Width of the run in samples, or 0.
    """
    top = values.max()
    edges = np.diff(np.concatenate([[0], (values == top).astype(np.int8), [0]]))
    begins, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    longest = int((ends - begins).argmax())
    first, last = int(begins[longest]), int(ends[longest]) - 1
    wide = last - first + 1
    if wide < _LEAST or first == 0 or last == len(values) - 1:
        return 0
    before = float(top - values[max(first - wide, 0)])
    after = float(top - values[min(last + wide, len(values) - 1)])
    return wide if min(before, after) / 8 > 2 * resolution else 0


def range_end(values: Samples) -> float | None:
    """Return the value at which the readings of a detector pile up, so that its range ended there; None where none is.

    Readings that are written finely enough to differ from sample to sample do not meet in one greatest value by chance:
    there they were cut off. Magnitudes have no smooth top, so the form of the curve beside it tells nothing.

    Parameters
    ----------
    values : ndarray (n,)
        Magnitudes [any unit].

    Returns
    -------
    float or None
        The greatest value, where at least ten samples carry it, five times as many as carry the next one, and the
        others are of at least twenty different values (our own choice, no source).

    Examples
    --------
    >>> readings = np.concatenate([np.linspace(0.1, 4.9, 49), np.full(12, 80.0)])
    >>> range_end(readings), range_end(readings[:-3])
    (80.0, None)
    """
    top = float(values.max(initial=0.0))
    at_top = values == top
    count = int(np.count_nonzero(at_top))
    if count < _LEAST_AT_END or count == len(values):
        return None
    others = values[~at_top]
    at_next = int(np.count_nonzero(others == others.max()))
    different = len(np.unique(others[:: max(1, len(others) // 10_000)]))
    return top if count >= _PILED * at_next and different >= _LEAST_DIFFERENT else None
