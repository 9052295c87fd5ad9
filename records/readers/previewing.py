"""The first rows of a file as the reader understood them, for a person to accept or to map."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from records.readers.columns import Resolution
from records.readers.decoding import Encoding
from records.readers.dialect import SEPARATORS, Dialect
from records.readers.units import CHANNELS


@dataclass(frozen=True)
class PreviewColumn:
    """One column: place counted from 1, head, unit as the file states it, channel as understood, first cells."""

    number: int
    head: str
    unit: str | None
    channel: str | None
    samples: tuple[str, ...]


@dataclass(frozen=True)
class Preview:
    """What was understood of a file before it is read whole.

    Attributes
    ----------
    encoding, separator, decimal : str
        As guessed; the separator by its name.
    first_row : int
        Line of the first row of numbers, counted from 1.
    columns : tuple of PreviewColumn
        All columns; those with `PreviewColumn.channel` None are unresolved.
    doubts : tuple of str
        Why columns could not be told, in sentences.
    metadata : mapping of str to str
        Lines before the heads.
    """

    encoding: str
    separator: str
    decimal: str
    first_row: int
    columns: tuple[PreviewColumn, ...]
    doubts: tuple[str, ...] = ()
    metadata: Mapping[str, str] = field(default_factory=dict)

    @property
    def unresolved(self) -> tuple[PreviewColumn, ...]:
        """Columns that nobody has named yet."""
        return tuple(column for column in self.columns if column.channel is None)

    @property
    def missing(self) -> tuple[str, ...]:
        """Channels that no column was found for."""
        found = {column.channel for column in self.columns}
        return tuple(channel for channel in CHANNELS if channel not in found)

    def as_dict(self) -> dict[str, Any]:
        """Return the same as plain values, for JSON."""
        return {
            "encoding": self.encoding,
            "separator": self.separator,
            "decimal": self.decimal,
            "first_row": self.first_row,
            "columns": [{**vars(column), "samples": list(column.samples)} for column in self.columns],
            "doubts": list(self.doubts),
            "metadata": dict(self.metadata),
        }

    @classmethod
    def from_dict(cls, content: Mapping[str, Any]) -> Preview:
        """Return the preview that `as_dict` gave."""
        columns = tuple(
            PreviewColumn(**{**column, "samples": tuple(column["samples"])}) for column in content["columns"]
        )
        return cls(**{**content, "columns": columns, "doubts": tuple(content["doubts"])})


def describe(encoding: Encoding, dialect: Dialect, resolution: Resolution) -> Preview:
    """Return the preview of a file whose dialect and columns are known."""
    channels = {column.index: column.channel for column in resolution.resolved}
    columns = tuple(
        PreviewColumn(
            index + 1,
            dialect.heads[index],
            dialect.units[index] if dialect.units else None,
            channels.get(index),
            tuple(row[index] for row in dialect.samples if index < len(row)),
        )
        for index in range(dialect.columns)
    )
    return Preview(
        encoding.name,
        SEPARATORS[dialect.separator],
        dialect.decimal,
        dialect.first_row + 1,
        columns,
        resolution.doubts,
        dialect.metadata,
    )
