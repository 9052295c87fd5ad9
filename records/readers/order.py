"""What is to be read, for which purpose, and at what cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from records.readers.columns import ColumnMap
from records.readers.memory import OWN, Memory
from records.readers.recording import Limits
from records.readers.refusals import RecordTooLarge
from records.readers.wanted import Wanted


@dataclass(frozen=True)
class Order:
    """One file to read.

    Attributes
    ----------
    path : Path
        The file; of a pair the one that says how the other is laid out.
    limits : Limits
        What reading may cost.
    wanted : Wanted
        What the step needs.
    columns : ColumnMap or None
        Which column is which, where a person said so.
    companion : Path or None
        The other file of a pair.
    memory : Memory
        Where the columns of a long table are made.
    """

    path: Path
    limits: Limits
    wanted: Wanted
    columns: ColumnMap | None = None
    companion: Path | None = None
    memory: Memory = OWN

    def is_all(self, unresolved: Sequence[int]) -> bool:
        """Return whether no column is left that could be asked for: all have names, or a person has told them."""
        return self.columns is not None or not unresolved

    def check_rows(self, rows: int) -> None:
        """Refuse more rows than the limit, before any room is made for them.

        Raises
        ------
        RecordTooLarge
            The file holds, or says that it holds, more rows.
        """
        if rows > self.limits.max_rows:
            raise RecordTooLarge(
                f"The file has {rows} rows; the limit is {self.limits.max_rows}. Export a shorter part of it."
            )

    def check_size(self) -> None:
        """Refuse files that are larger than the limit.

        Raises
        ------
        RecordTooLarge
            The file, or both together, are larger.
        """
        size = sum(place.stat().st_size for place in (self.path, self.companion) if place is not None)
        if size > self.limits.max_bytes:
            raise RecordTooLarge(
                f"The file has {size / 1e6:.1f} MB; the limit is {self.limits.max_bytes / 1e6:.1f} MB. Export a "
                "shorter part of the record, or ask the administrator to raise the limit."
            )
