"""Arrays of a recording beside its file, as Parquet: what pictures and later evaluations read again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO

import numpy as np
import polars as pl

from records.readers.recording import Samples

_EARLIER = ".npy"  # how an earlier version kept them: rows in the order of the names


def write_arrays(place: str | Path | IO[bytes], arrays: Mapping[str, Samples]) -> None:
    """Write the arrays of a recording, one column for each.

    Parameters
    ----------
    place : path-like or binary stream
        Where to; what is there is replaced.
    arrays : mapping of str to ndarray (n,)
        Samples by name. Empty ones, as the time of a sweep, are left out.

    Notes
    -----
    Values come back bit for bit. They are compressed lightly: the samples of a record hardly get smaller by more.
    """
    filled = {name: np.ascontiguousarray(values) for name, values in arrays.items() if len(values)}
    pl.DataFrame(filled).write_parquet(place, compression="lz4", statistics=False)


def read_arrays(place: str | Path, names: Sequence[str]) -> dict[str, Samples]:
    """Return the arrays that `write_arrays` wrote.

    Parameters
    ----------
    place : path-like
        The file.
    names : sequence of str
        Which, in this order; one that was empty comes back empty.

    Returns
    -------
    dict of str to ndarray (n,)
        Samples by name.
    """
    if str(place).endswith(_EARLIER):
        return dict(zip(names, np.load(place, allow_pickle=False, mmap_mode="r"), strict=True))
    held = pl.read_parquet_schema(place)
    frame = pl.read_parquet(place, columns=[name for name in names if name in held], glob=False)
    return {name: frame.get_column(name).to_numpy() if name in held else np.empty(0) for name in names}
