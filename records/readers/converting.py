"""Arrays of a binary format to samples: finite numbers in the channel's own unit, or a refusal with the row."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from records.readers.columns import Resolved
from records.readers.recording import Samples
from records.readers.refusals import NotANumber

_EXACT = 2**53  # greatest integer up to which every one is a double


def samples_of(values: NDArray[Any], column: Resolved, head: str, said: list[str]) -> Samples:
    """Return numbers as doubles in the channel's own unit.

    Parameters
    ----------
    values : ndarray (n,)
        Integers, booleans or floating-point numbers of any width.
    column : Resolved
        Factor and offset.
    head : str
        Name of the column, for messages.
    said : list of str
        Oddities; integers that are no doubles are told here.

    Returns
    -------
    ndarray (n,)
        Samples [channel's unit].

    Raises
    ------
    NotANumber
        A value is NaN or infinite; its row is counted from 1.
    """
    if values.dtype.kind in "iu" and values.dtype.itemsize == 8 and len(values):
        greatest = max(abs(int(values.max())), abs(int(values.min())))
        if greatest > _EXACT:
            said.append(f"“{head}” holds integers up to {greatest}, which were rounded to doubles.")
    samples = values.astype(np.float64)
    finite = np.isfinite(samples)
    if not finite.all():
        row = int(np.argmin(finite)) + 1
        raise NotANumber(
            f"Row {row}: “{head}” holds {samples[row - 1]}, which is no measured value. Remove the row, or export the "
            "record again.",
            row=row,
        )
    samples = samples if column.factor == 1.0 else samples * column.factor
    return samples if column.offset == 0.0 else samples + column.offset
