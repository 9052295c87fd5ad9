"""Whether a record is cut off at the edge of an instrument's range."""

from __future__ import annotations

import numpy as np

from records.readers.recording import Samples

_LEAST = 5  # equal greatest samples in a row from which on a record is examined


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
