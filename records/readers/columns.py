"""Which column is which: by the heads, or by what a person said once for the instrument."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from records.readers.labels import LABEL
from records.readers.layout import Layout
from records.readers.refusals import BadColumnMap, ColumnMissing, RecordRefused
from records.readers.stamps import CLOCKS, clock_of, is_stamp
from records.readers.units import (
    CHANNELS,
    DIMENSIONLESS,
    factor_to,
    is_channel,
    offset_to,
    spellings_of,
    understand_head,
)
from records.readers.wording import plain

_TOLD = 12  # heads named in a message


@dataclass(frozen=True)
class MappedColumn:
    """One column as a person named it: its head (or ``column 3``), and its unit where they stated one."""

    column: str
    unit: str | None = None


@dataclass(frozen=True)
class ColumnMap:
    """Columns by channel: what COLUMNS.json holds, and what is remembered for an instrument."""

    columns: Mapping[str, MappedColumn]

    @classmethod
    def from_dict(cls, content: Any) -> ColumnMap:
        """Return the map that COLUMNS.json holds.

        Parameters
        ----------
        content : mapping
            ``{"time_s": "T", "voltage_kv": {"column": "CH1", "unit": "V"}}``.

        Raises
        ------
        BadColumnMap
            A channel, column or unit is not known; the key is named.
        """
        if not isinstance(content, Mapping):
            raise BadColumnMap('The mapping must be an object such as {"time_s": "T", "voltage_kv": "CH1"}.')
        return cls({channel: _mapped(channel, entry) for channel, entry in content.items()})

    def as_dict(self) -> dict[str, Any]:
        """Return the same as COLUMNS.json holds."""
        return {
            channel: mapped.column if mapped.unit is None else {"column": mapped.column, "unit": mapped.unit}
            for channel, mapped in self.columns.items()
        }


def _mapped(channel: str, entry: Any) -> MappedColumn:
    if not is_channel(channel):
        raise BadColumnMap(f"“{channel}” is not a channel; use {', '.join(CHANNELS)}.")
    if isinstance(entry, str):
        return MappedColumn(entry)
    if isinstance(entry, Mapping) and isinstance(entry.get("column"), str):
        unit = entry.get("unit")
        if unit is not None and (not isinstance(unit, str) or not _is_of(channel, unit)):
            raise BadColumnMap(f"{channel}: “{unit}” is not a unit of it; use {', '.join(spellings_of(channel)[:8])}.")
        return MappedColumn(entry["column"], unit)
    raise BadColumnMap(f'{channel}: state the column as text, or as {{"column": "CH1", "unit": "V"}}.')


def _is_of(channel: str, unit: str) -> bool:
    return factor_to(channel, unit) is not None or (channel == "time_s" and unit in CLOCKS)


@dataclass(frozen=True)
class Resolved:
    """A column that is understood: its place, counted from 0, its channel, factor and offset to the channel's unit.

    A column of labels names the part of the unit that each row is of, in any text. `clock` is what two parts of a clock
    are, where it is said.
    """

    index: int
    channel: str
    factor: float
    is_stamp: bool = False
    offset: float = 0.0
    clock: str = ""

    @property
    def is_label(self) -> bool:
        """Whether its cells are names and no numbers."""
        return self.channel == LABEL


@dataclass(frozen=True)
class Resolution:
    """What is understood of the columns, what is not (places), and why not, in sentences."""

    resolved: tuple[Resolved, ...]
    unresolved: tuple[int, ...]
    doubts: tuple[str, ...] = ()

    def has(self, channel: str) -> bool:
        """Return whether a column was found for the channel."""
        return any(column.channel == channel for column in self.resolved)


def named(heads: Sequence[str]) -> str:
    """Return heads for a sentence: the first dozen, and how many more there are."""
    more = f" and {len(heads) - _TOLD} more" if len(heads) > _TOLD else ""
    return ", ".join(f"“{head[:60]}”" for head in heads[:_TOLD]) + more


def _unit_of(dialect: Layout, index: int, head_unit: str | None) -> str | None:
    if head_unit:
        return head_unit
    return (dialect.units[index] or None) if dialect.units else None


def _is_stamped(dialect: Layout, index: int) -> bool:
    cells = [row[index] for row in dialect.samples if index < len(row)]
    return bool(cells) and sum(map(is_stamp, cells)) > len(cells) / 2


def _place_of(dialect: Layout, channel: str, mapped: MappedColumn) -> int:
    wanted = plain(mapped.column).strip().casefold()
    names = [plain(head).strip().strip('"').casefold() for head in dialect.heads]
    if wanted in names:
        return names.index(wanted)
    numbered = [f"column {number + 1}" for number in range(dialect.columns)]
    if wanted in numbered:
        return numbered.index(wanted)
    raise ColumnMissing(
        f"The column “{mapped.column}” mapped to {channel} is not in the file, which has "
        f"{named(dialect.heads)}. Correct the mapping, or choose another file."
    )


def _by_mapping(dialect: Layout, columns: ColumnMap) -> list[Resolved]:
    found = []
    for channel, mapped in columns.columns.items():
        index = _place_of(dialect, channel, mapped)
        if channel == LABEL or _is_stamped(dialect, index):
            clock = clock_of(dialect.heads[index], mapped.unit or _unit_of(dialect, index, None))
            found.append(Resolved(index, channel, 1.0, channel == "time_s", clock=clock))
            continue
        stated = mapped.unit or _unit_of(dialect, index, understand_head(dialect.heads[index])[1])
        if stated in CLOCKS:
            raise BadColumnMap(f"The column “{mapped.column}” holds no times such as 1:30, as “{stated}” says it does.")
        factor = 1.0 if stated is None else factor_to(channel, stated)
        if factor is None:
            raise BadColumnMap(
                f"The column “{mapped.column}” is in “{stated}”, which is no unit of {channel}. State the unit in the "
                f"mapping; known are {', '.join(spellings_of(channel)[:8])}."
            )
        found.append(Resolved(index, channel, factor, offset=offset_to(channel, stated or "")))
    return found


def _by_head(dialect: Layout, index: int, wanted: Sequence[str]) -> tuple[Resolved | None, str]:
    """Return the column as its head tells it, or None and why not."""
    head = dialect.heads[index]
    channel, head_unit = _understood(dialect, index, wanted)
    if channel is None and dialect.has_heads and _is_stamped(dialect, index):
        channel = "time_s"
    if channel is None or (channel == LABEL and LABEL not in wanted):
        return None, ""
    if channel == LABEL:
        return Resolved(index, channel, 1.0), ""
    if _is_stamped(dialect, index):
        return Resolved(index, channel, 1.0, True, clock=clock_of(head, _unit_of(dialect, index, head_unit))), ""
    unit = _unit_of(dialect, index, head_unit) or ("1" if channel in DIMENSIONLESS else None)
    if unit is None:
        return None, f"The head “{head}” names no unit."
    factor = factor_to(channel, unit)
    if factor is None:
        return None, f"“{unit}” of the column “{head}” is not a unit that is known for it."
    return Resolved(index, channel, factor, offset=offset_to(channel, unit)), ""


def _understood(dialect: Layout, index: int, wanted: Sequence[str]) -> tuple[str | None, str | None]:
    """Return channel and unit by the head alone, or by the head with the unit that stands below or beside it."""
    channel, unit = understand_head(dialect.heads[index], wanted)
    beside = dialect.units[index] if dialect.units else ""
    if unit is None and beside:
        together, _ = understand_head(f"{dialect.heads[index]} ({beside.strip('[](){} ')})", wanted)
        return together or channel, None
    return channel, unit


def resolve(dialect: Layout, columns: ColumnMap | None = None, wanted: Sequence[str] = ()) -> Resolution:
    """Return which column is which.

    Parameters
    ----------
    dialect : Layout
        What was understood of the file.
    columns : ColumnMap, optional
        What a person said; it goes before the heads. A unit stated there goes before the file's; where it states
        none, the file's unit counts, and where neither does, the values are in the channel's own unit.
    wanted : sequence of str
        Channels that the step can use; they decide what a head means that could mean several.

    Returns
    -------
    Resolution
        Two columns that claim one channel are both left unresolved, with the doubt in words.

    Raises
    ------
    ColumnMissing
        A mapped column is not in the file.
    BadColumnMap
        The file's unit of a mapped column cannot be of that channel.
    """
    mapped = _by_mapping(dialect, columns) if columns else []
    taken = {column.channel for column in mapped}
    found, doubts = [], []
    for index in range(dialect.columns):
        if any(column.index == index for column in mapped):
            continue
        column, doubt = _by_head(dialect, index, wanted)
        if column and column.channel not in taken:
            found.append(column)
        elif doubt:
            doubts.append(doubt)
    for channel in dict.fromkeys(column.channel for column in found):
        rivals = [column for column in found if column.channel == channel]
        if len(rivals) > 1:
            names = " and ".join(f"“{dialect.heads[column.index]}”" for column in rivals)
            doubts.append(f"{names} could both be {channel}.")
            found = [column for column in found if column.channel != channel]
    resolved = sorted([*mapped, *found], key=lambda column: column.index)
    places = {column.index for column in resolved}
    return Resolution(tuple(resolved), tuple(i for i in range(dialect.columns) if i not in places), tuple(doubts))


@dataclass(frozen=True)
class Attempt:
    """Columns of one of several tables, and why a person's mapping does not fit them, or None where it does."""

    resolution: Resolution
    misfit: RecordRefused | None = None


def attempt(layout: Layout, columns: ColumnMap | None, wanted: Sequence[str]) -> Attempt:
    """Return which column is which in a table that may be another than the mapping was made for."""
    try:
        return Attempt(resolve(layout, columns, wanted))
    except (ColumnMissing, BadColumnMap) as fault:
        return Attempt(resolve(layout, None, wanted), fault)
