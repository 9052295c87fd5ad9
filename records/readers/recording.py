"""What was read from a file: arrays with units, and what was odd about them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from records.readers.previewing import Preview

Samples = NDArray[np.float64]


@dataclass(frozen=True)
class Limits:
    """What reading one file may cost.

    Attributes
    ----------
    max_bytes : int
        Largest file [bytes].
    max_rows : int
        Most rows of numbers.
    min_rows : int
        Fewest rows that any evaluation can use.
    cpu_s : int
        Processor time of the child process [s].
    memory_bytes : int
        Address space of the child process [bytes].
    max_unpacked_bytes : int
        Most bytes that a compressed file may unpack to.
    max_ratio : int
        Most times by which a compressed part may grow.
    """

    max_bytes: int = 512 * 1024 * 1024
    max_rows: int = 20_000_000
    min_rows: int = 3
    cpu_s: int = 20
    memory_bytes: int = 6 * 1024**3
    max_unpacked_bytes: int = 1024**3
    max_ratio: int = 200


DEFAULT = Limits()


@dataclass(frozen=True)
class Recording:
    """Arrays of one record, all of the same length.

    Attributes
    ----------
    time_s : ndarray (n,)
        Time of each sample [s], never falling. Clock times count from the first row. Empty (0,) where the record runs
        over another axis, as a sweep does over frequency.
    channels : mapping of str to ndarray (n,)
        Samples by name with unit: ``voltage_kv``, ``charge_pc``, …
    metadata : mapping of str to str
        Lines before the heads, and ``start`` where the file tells a date or clock time.
    oddities : tuple of str
        Sentences on what was odd about the file but did not prevent its reading.
    sha256 : str
        Digest of the file's bytes, hexadecimal; empty for a recording that was never a file. Of a pair of files the
        digest over both digests.
    preview : Preview or None
        First rows as the reader understood them, for a person to look at.
    name : str
        What findings call it where there are several, as ``“b.csv” (phase B)``; empty where nobody named it.
    """

    time_s: Samples
    channels: Mapping[str, Samples]
    metadata: Mapping[str, str] = field(default_factory=dict)
    oddities: tuple[str, ...] = ()
    sha256: str = ""
    preview: Preview | None = field(default=None, compare=False, repr=False)
    name: str = field(default="", compare=False)

    @property
    def rows(self) -> int:
        """Number of samples."""
        return max((len(self.time_s), *(len(samples) for samples in self.channels.values())))

    @property
    def duration_s(self) -> float:
        """Time from the first sample to the last [s]; 0 where there are fewer than two."""
        return float(self.time_s[-1] - self.time_s[0]) if len(self.time_s) > 1 else 0.0

    def channel(self, name: str) -> Samples | None:
        """Return the samples of one channel, or None where the record has none."""
        return self.channels.get(name)
