"""Reader of COMTRADE records (IEEE C37.111, IEC 60255-24): a configuration with its data, or both in a single file."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from records.readers.assembling import Columns, assemble, require
from records.readers.columns import Resolution, Resolved, named, resolve
from records.readers.comtrade.clock import times_of
from records.readers.comtrade.configuration import Configuration, parse
from records.readers.comtrade.files import Files, open_files
from records.readers.comtrade.values import Raw, raw_samples
from records.readers.layout import NamedColumns
from records.readers.order import Order
from records.readers.plausibility import Declared, of_dates
from records.readers.previewing import Manner, Preview, describe
from records.readers.recording import Recording, Samples
from records.readers.refusals import ContentNotKnown, RecordDamaged, RecordTruncated

_SHOWN = 8
_RAILS = {"BINARY": (-(2**15) + 1, 2**15 - 1), "BINARY32": (-(2**31) + 1, 2**31 - 1)}


@dataclass(frozen=True)
class _Record:
    """A record whose configuration is known: its files, its columns, and which of them are which."""

    known: Configuration
    files: Files
    layout: NamedColumns
    resolution: Resolution
    shown: Preview


def preview(order: Order) -> Preview:
    """Return the first samples as they are understood."""
    return _looked_at(order).shown


def read(order: Order) -> Recording:
    """Return the arrays of a record.

    Raises
    ------
    RecordRefused
        Each fault by its own class.

    Notes
    -----
    Values are those of the primary side. A sample that is missing in a channel that is used is left out and told.
    Digital channels can be mapped as 0 and 1.
    """
    record = _looked_at(order)
    known = record.known
    require(order, record.layout, record.resolution, record.shown)
    used = [column for column in record.resolution.resolved if column.index > 0]
    raw = raw_samples(known, record.files.data, [column.index - 1 for column in used], order)
    said = [*record.files.oddities, *known.oddities, *_unread(record), *_counted(known, raw)]
    clock = times_of(known, raw)
    arrays, is_whole = {"time_s": clock.time_s}, np.ones(len(clock.time_s), dtype=bool)
    for column in used:
        arrays[column.channel] = _values(known, raw.columns[column.index - 1], column)
        is_whole &= np.isfinite(arrays[column.channel])
        said.extend(_side_and_rails(known, raw.columns[column.index - 1], column))
    if not is_whole.all():
        lost = int((~is_whole).sum())
        said.append(f"{lost} samples are marked as missing, the first at {clock.time_s[~is_whole][0]:.6g} s; left out.")
        arrays = {name: values[is_whole] for name, values in arrays.items()}
    duration = float(clock.time_s[-1])
    said.extend([*clock.oddities, *of_dates(known.start, known.trigger, duration)])
    declared = Declared(known.line_hz if known.line_hz > 0 else None)
    columns = Columns(arrays, record.files.sha256, _metadata(known), tuple(said), declared=declared)
    return assemble(order, columns, record.shown)


def _looked_at(order: Order) -> _Record:
    files = open_files(order)
    known = parse(files.configuration)
    if files.stated_type and files.stated_type != known.file_type:
        raise RecordDamaged(
            f"The single file calls its data {files.stated_type} and its configuration calls them {known.file_type}. "
            "Export the record again."
        )
    if not known.analogs and not known.digitals:
        raise ContentNotKnown("The record has no channels. Export it again with those that were measured.")
    first = raw_samples(known, files.data, range(len(known.analogs) + len(known.digitals)), order, _SHOWN)
    layout = _layout(known, first)
    resolution = resolve(layout, order.columns, order.wanted.channels)
    how = (
        f"Read as a COMTRADE record of revision {known.revision}, {known.file_type} data, {len(known.analogs)} analog "
        f"and {len(known.digitals)} digital channels, {known.declared_samples} samples declared."
    )
    shown = describe(Manner(how), layout, resolution, order.wanted, _metadata(known))
    return _Record(known, files, layout, resolution, shown)


def _layout(known: Configuration, first: Raw) -> NamedColumns:
    """Return the columns: the time, then analog and digital channels by their names, each name once."""
    kinds = [("analog", channel.name) for channel in known.analogs] + [("digital", name) for name in known.digitals]
    names = [name for _, name in kinds]
    heads = ["Time"]
    for place, (kind, name) in enumerate(kinds):
        number = place + 1 - (len(known.analogs) if kind == "digital" else 0)
        is_own = name and names.count(name) == 1 and name != "Time"
        heads.append(name if is_own else f"{name} ({kind} {number})".strip())
    units = ("s", *(channel.unit for channel in known.analogs), *("1" for _ in known.digitals))
    times = times_of(known, first).time_s
    values = [times, *(_scaled(known, first.columns[place], place) for place in range(len(kinds)))]
    samples = tuple(tuple(f"{column[row]:.9g}" for column in values) for row in range(len(times)))
    return NamedColumns(tuple(heads), units, samples)


def _scaled(known: Configuration, samples: Samples, place: int) -> Samples:
    if place >= len(known.analogs):
        return samples
    channel = known.analogs[place]
    return (samples * channel.factor + channel.offset) * channel.to_primary


def _values(known: Configuration, samples: Samples, column: Resolved) -> Samples:
    values = _scaled(known, samples, column.index - 1)
    values = values if column.factor == 1.0 else values * column.factor
    return values if column.offset == 0.0 else values + column.offset


def _unread(record: _Record) -> list[str]:
    heads = [record.layout.heads[index] for index in record.resolution.unresolved]
    said = [f"Columns not read, because their heads name no known quantity: {named(heads)}."] if heads else []
    return [*said, *record.resolution.doubts[:5]]


def _counted(known: Configuration, raw: Raw) -> list[str]:
    """Compare the number of samples with the one declared; refuse where some are not there."""
    held, last = len(raw.numbers), known.declared_samples
    if max(held, raw.numbers[-1] if np.isfinite(raw.numbers[-1]) else 0) < last:
        raise RecordTruncated(
            f"The configuration declares {last} samples, but the data hold {held}: the data are cut off, or of another "
            "record. Fetch both files from the instrument again."
        )
    if held > last:
        return [f"The configuration declares {last} samples; the data hold {held}, and all were read."]
    return []


def _side_and_rails(known: Configuration, samples: Samples, column: Resolved) -> list[str]:
    """Return sentences on values that were secondary ones, and on samples at the end of the converter's range."""
    place = column.index - 1
    if place >= len(known.analogs):
        return []
    channel, said = known.analogs[place], []
    if channel.to_primary != 1.0:
        said.append(
            f"“{channel.name}” is stored as on the secondary side; it was multiplied by {channel.primary:.9g} / "
            f"{channel.secondary:.9g}."
        )
    elif channel.side == "S" and not (channel.primary > 0 and channel.secondary > 0):
        said.append(f"“{channel.name}” is stored as on the secondary side, and no ratio is stated; it was not scaled.")
    if known.file_type in _RAILS:
        low, high = _RAILS[known.file_type]
        stands = np.zeros(max(len(samples) - 1, 0), dtype=bool)
        for at_rail in (samples <= low, samples >= high):
            stands |= at_rail[1:] & at_rail[:-1]
        if stands.any():
            said.append(
                f"“{channel.name}” stands at the end of the converter's range in {int(stands.sum()) + 1} samples: it "
                "is cut off. Measure with a greater range."
            )
    return said


def _metadata(known: Configuration) -> dict[str, str]:
    told = {
        "station": known.station,
        "device": known.device,
        "revision": str(known.revision),
        "declared frequency": f"{known.line_hz:g} Hz" if known.line_hz > 0 else "",
        "start": known.dates[0],
        "trigger": known.dates[1],
        "data": known.file_type,
    }
    return {key: value[:500] for key, value in told.items() if value}
