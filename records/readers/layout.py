"""What is known of a table's columns before its numbers are read, whatever the format."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol


class Layout(Protocol):
    """Heads, units and first rows: what columns are told apart by."""

    @property
    def heads(self) -> tuple[str, ...]:
        """One for each column."""

    @property
    def units(self) -> tuple[str, ...]:
        """One for each column, empty text where it has none; empty where there are none at all."""

    @property
    def columns(self) -> int:
        """Number of columns."""

    @property
    def has_heads(self) -> bool:
        """Whether the heads were read from the file."""

    @property
    def samples(self) -> tuple[tuple[str, ...], ...]:
        """Cells of the first rows as text."""


@dataclass(frozen=True)
class NamedColumns:
    """Columns of a format that names them itself.

    Attributes
    ----------
    heads, units : tuple of str
        One for each column; an empty unit where the file states none.
    samples : tuple of tuple of str
        Cells of the first rows as text.
    first_row : int
        Row of the first numbers as a person counts it, from 1; 0 where rows have no place in the file.
    has_heads : bool
        Whether the heads were read from the file.
    """

    heads: tuple[str, ...]
    units: tuple[str, ...]
    samples: tuple[tuple[str, ...], ...]
    first_row: int = 0
    has_heads: bool = True

    @property
    def columns(self) -> int:
        """Number of columns."""
        return len(self.heads)
