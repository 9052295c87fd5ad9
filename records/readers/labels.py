"""Cells that name the part of the unit that each row is of, as numbers and a list of names."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

import numpy as np

from records.readers.recording import Samples

LABEL = "part"
"""The channel whose cells name the part of the unit that a row is of: a phase, a winding."""

_LONGEST = 60
_TOLD_AS = "parts"  # the names, in the recording's metadata


def coded(cells: Sequence[str]) -> tuple[Samples, dict[str, str]]:
    """Return labels as numbers, and their names as metadata.

    Parameters
    ----------
    cells : sequence of str, (n,)
        Labels as the file has them.

    Returns
    -------
    tuple of (ndarray (n,), dict)
        The place of each row's name in the list of names, and that list as metadata that `names_of` reads.

    Examples
    --------
    >>> codes, told = coded(["A", "B", "A"])
    >>> codes.tolist(), names_of(told)
    ([0.0, 1.0, 0.0], ['A', 'B'])
    """
    names = [cell.strip()[:_LONGEST] for cell in cells]
    places = {name: place for place, name in enumerate(dict.fromkeys(names))}
    return np.array([places[name] for name in names], dtype=np.float64), {_TOLD_AS: json.dumps(list(places))}


def names_of(metadata: Mapping[str, str]) -> list[str]:
    """Return the names that `coded` kept; empty where the labels were numbers."""
    held = json.loads(metadata.get(_TOLD_AS, "[]"))
    return [str(name) for name in held]
