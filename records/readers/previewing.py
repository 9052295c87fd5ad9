"""The first rows of a file as the reader understood them, for a person to accept or to map."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from records.readers.columns import Resolution, Resolved
from records.readers.layout import Layout
from records.readers.units import UNITS
from records.readers.wanted import Wanted


@dataclass(frozen=True)
class PreviewColumn:
    """One column: place counted from 1, head, unit as the file states it, channel as understood, first cells.

    `values` are the first cells as they were understood: numbers in the channel's own unit, with that unit.
    """

    number: int
    head: str
    unit: str | None
    channel: str | None
    samples: tuple[str, ...]
    values: tuple[str, ...] = ()


@dataclass(frozen=True)
class Preview:
    """What was understood of a file before it is read whole.

    Attributes
    ----------
    how : str
        How the file was read, in a sentence.
    encoding, separator, decimal : str
        Of text in columns, as guessed; the separator by its name. Empty for other formats.
    first_row : int
        Line of the first row of numbers, counted from 1; 0 where rows have no place in the file.
    columns : tuple of PreviewColumn
        All columns; those with `PreviewColumn.channel` None are unresolved.
    doubts : tuple of str
        Why columns could not be told, in sentences.
    metadata : mapping of str to str
        Lines before the heads, or what the file says about itself.
    missing : tuple of str
        Channels that the step needs and no column was found for.
    """

    how: str
    encoding: str
    separator: str
    decimal: str
    first_row: int
    columns: tuple[PreviewColumn, ...]
    doubts: tuple[str, ...] = ()
    metadata: Mapping[str, str] = field(default_factory=dict)
    missing: tuple[str, ...] = ()

    @property
    def unresolved(self) -> tuple[PreviewColumn, ...]:
        """Columns that nobody has named yet."""
        return tuple(column for column in self.columns if column.channel is None)

    def as_dict(self) -> dict[str, Any]:
        """Return the same as plain values, for JSON."""
        rows = [{**vars(row), "samples": list(row.samples), "values": list(row.values)} for row in self.columns]
        lists = {"columns": rows, "doubts": list(self.doubts), "missing": list(self.missing)}
        return {**vars(self), **lists, "metadata": dict(self.metadata)}

    @classmethod
    def from_dict(cls, content: Mapping[str, Any]) -> Preview:
        """Return the preview that `as_dict` gave."""
        columns = tuple(
            PreviewColumn(**{**column, "samples": tuple(column["samples"]), "values": tuple(column["values"])})
            for column in content["columns"]
        )
        lists = {"columns": columns, "doubts": tuple(content["doubts"]), "missing": tuple(content["missing"])}
        return cls(**{**content, **lists})


@dataclass(frozen=True)
class Manner:
    """How a file was read: a sentence, and of text its encoding, separator by name, decimal mark and first line."""

    how: str
    encoding: str = ""
    separator: str = ""
    decimal: str = "."
    first_row: int = 0


def describe(
    manner: Manner, layout: Layout, resolution: Resolution, wanted: Wanted, metadata: Mapping[str, str]
) -> Preview:
    """Return the preview of a file whose layout and columns are known."""
    understood = {column.index: column for column in resolution.resolved}
    columns = tuple(
        _column(index, layout, understood.get(index), manner.decimal) for index in range(min(layout.columns, _MOST))
    )
    found = [column.channel for column in resolution.resolved]
    return Preview(
        manner.how,
        manner.encoding,
        manner.separator,
        manner.decimal,
        manner.first_row,
        columns,
        resolution.doubts,
        metadata,
        wanted.lacking(found, is_all=not resolution.unresolved),
    )


_MOST = 200


def _column(index: int, layout: Layout, understood: Resolved | None, decimal: str) -> PreviewColumn:
    cells = tuple(row[index] for row in layout.samples if index < len(row))
    return PreviewColumn(
        index + 1,
        layout.heads[index],
        (layout.units[index] or None) if layout.units else None,
        understood.channel if understood else None,
        cells,
        _values(cells, understood, decimal) if understood and not (understood.is_stamp or understood.is_label) else (),
    )


def _values(cells: Sequence[str], understood: Resolved, decimal: str) -> tuple[str, ...]:
    shown = []
    for cell in cells:
        try:
            value = float(cell.replace(decimal, ".")) * understood.factor + understood.offset
        except ValueError:
            shown.append("not a number")
        else:
            shown.append(f"{value:.7g} {UNITS.get(understood.channel, '')}".strip())
    return tuple(shown)
