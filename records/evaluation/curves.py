"""What the picture of a slow test needs, kept with its evaluation: readings, fitted lines, what was read from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from records.evaluation.measured import Measured, spoken
from records.evaluation.thinning import thin
from records.readers.recording import Samples

_READINGS = 600
_LINE_POINTS = 121


@dataclass(frozen=True)
class ReadPoint:
    """A value read from a curve: words, place on both axes, and its expanded uncertainty (None where not known)."""

    words: str
    x: float
    y: float
    expanded_uncertainty: float | None = None


def read_point(words: str, x: float, measured: Measured, unit: str) -> list[ReadPoint]:
    """Return a measured value as a point of a curve; none where it has no value."""
    if measured.value is None:
        return []
    u = measured.expanded_uncertainty
    return [ReadPoint(f"{words} {spoken(measured.value, u)} {unit}", x, measured.value, u)]


def curve_details(
    after_s: Samples,
    values: Samples,
    *,
    titles: tuple[str, str],
    words: str,
    lines: Sequence[tuple[str, Samples, Samples]] = (),
    points: Sequence[ReadPoint] = (),
    limit: tuple[str, float | None, float | None] | None = None,
    is_log: bool = False,
) -> dict[str, Any]:
    """Return a curve as plain values for the details of an evaluation.

    Parameters
    ----------
    after_s, values : ndarray (n,)
        Readings; they are thinned to 600 that keep every extreme.
    titles : tuple of (str, str)
        Of the axes, with units.
    words : str
        What the picture shows.
    lines : sequence of (str, ndarray (m,), ndarray (m,))
        Fitted lines, the one that counts first: name and places on both axes.
    points : sequence of ReadPoint
        What was read from them.
    limit : tuple of (str, float or None, float or None), optional
        Words, and the least and the greatest value that conform [unit of the second axis].
    is_log : bool
        Whether both axes are logarithmic.

    Returns
    -------
    dict
        With lists and numbers only, each to six or seven significant digits.
    """
    xs, ys = thin(after_s, values, _READINGS)
    return {
        "curve": {
            "titles": list(titles),
            "words": words,
            "is_log": is_log,
            "readings": {"x": _short(xs), "y": _short(ys)},
            "lines": [{"title": title, "x": _short(x), "y": _short(y)} for title, x, y in lines],
            "points": [dict(vars(point)) for point in points],
            "limit": None if limit is None else dict(zip(("words", "low", "high"), limit, strict=True)),
        }
    }


def line_places(first: float, last: float) -> Samples:
    """Return evenly spread places at which a fitted line is drawn, shape (121,) [unit of the axis]."""
    return np.linspace(first, last, _LINE_POINTS)


def _short(values: Samples) -> list[float]:
    return [float(f"{value:.7g}") for value in values]
