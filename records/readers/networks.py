"""Text of a Touchstone file to a matrix of network parameters over frequency."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from records.readers.recording import Samples
from records.readers.refusals import ContentNotKnown, NoTable, NotANumber, RecordDamaged, RecordTruncated

_UNITS = {"HZ": 1.0, "KHZ": 1e3, "MHZ": 1e6, "GHZ": 1e9}
_FORMS = {"RI": "real and imaginary parts", "MA": "magnitude and angle", "DB": "decibels and angle"}
_KEYWORD = re.compile(r"^\[([^\]]+)\]\s*(.*)$")
_MOST_PORTS = 9
_NOISE_COLUMNS = 5
_MEND = "Correct it, or export the file again."


@dataclass(frozen=True)
class Network:
    """Network parameters over frequency.

    Attributes
    ----------
    version : str
        ``1`` or ``2``.
    parameter : str
        S, Y, Z, G or H.
    form : str
        How values are written, in words.
    reference_ohm : tuple of float
        Reference resistance of each port [Ω].
    is_relative : bool
        Whether impedances and admittances are relative to the reference (version 1).
    frequency_hz : ndarray (n,)
        Frequencies [Hz] in the order of the file.
    values : ndarray (n, ports, ports)
        Complex parameters.
    rows : list of int
        Row of each point in the file, from 1.
    """

    version: str
    parameter: str
    form: str
    reference_ohm: tuple[float, ...]
    is_relative: bool
    frequency_hz: Samples
    values: NDArray[np.complex128]
    rows: list[int]
    oddities: tuple[str, ...]

    @property
    def ports(self) -> int:
        """Number of ports."""
        return self.values.shape[1]


@dataclass(frozen=True)
class _Options:
    """The option line; its defaults are those of the specification."""

    unit: str = "GHZ"
    parameter: str = "S"
    form: str = "MA"
    references: tuple[float, ...] = (50.0,)


@dataclass
class _Text:
    """Lines of a file sorted by what they are: options, keywords, rows of numbers with their places."""

    options: _Options | None = None
    keywords: dict[str, str] = field(default_factory=dict)
    data: list[tuple[int, list[str]]] = field(default_factory=list)
    said: list[str] = field(default_factory=list)


def network_of(text: str) -> Network:
    """Return the network that a Touchstone file describes.

    Parameters
    ----------
    text : str
        Whole file.

    Returns
    -------
    Network
        Frozen. Noise data are passed over, and told.

    Raises
    ------
    RecordDamaged, RecordTruncated, NotANumber, NoTable
        As their names say, with the row.
    ContentNotKnown
        Mixed modes, a complex reference, or more than nine ports.

    Notes
    -----
    Version 1 does not state how many ports there are (the file's name does); they are counted: a row with an odd number
    of values begins a frequency, and 1 + 2 ports² values belong to it.

    References
    ----------
    Touchstone File Format Specification, version 1.1 (2002) and version 2.0, IBIS Open Forum, 2009; reference
    resistances of several ports on the option line by TSIRD 5.1 (2023) for version 2.1.
    """
    sorted_text = _sorted(text)
    options = sorted_text.options or _Options()
    if not sorted_text.data:
        raise NoTable("The file has an option line but no data: no rows of numbers. Export the sweep again.")
    is_second = "version" in sorted_text.keywords
    ports = _stated_ports(sorted_text) if is_second else 0
    rows = sorted_text.data
    if not is_second:
        rows, ports, said = _version_1(rows)
        sorted_text.said.extend(said)
    numbers, places = _numbers(rows)
    pairs = _pairs(sorted_text.keywords, ports)
    width = 1 + 2 * len(pairs)
    if len(numbers) % width:
        raise RecordTruncated(
            f"The data hold {len(numbers)} numbers, which is no multiple of the {width} that one frequency of {ports} "
            f"ports takes: the file is cut off. {_MEND}",
            row=places[-1],
        )
    table = numbers.reshape(-1, width)
    _check_count(sorted_text.keywords, len(table), is_second)
    references = _references(sorted_text, options, ports)
    return Network(
        "2" if is_second else "1",
        options.parameter,
        _FORMS[options.form],
        references,
        not is_second,
        table[:, 0] * _UNITS[options.unit],
        _matrix(table[:, 1:], pairs, options.form, ports),
        places[::width],
        tuple(sorted_text.said),
    )


def _sorted(text: str) -> _Text:
    found, section, skipped = _Text(), "network data", 0
    for number, line in enumerate(re.split(r"\r\n|\n|\r", text.lstrip("\ufeff")), start=1):
        told = line.split("!", 1)[0].strip("\x1a \t\0")
        if not told:
            continue
        keyword = _KEYWORD.match(told)
        if keyword:
            section = _keyword(found, keyword[1].strip().casefold(), keyword[2].strip(), section)
        elif told.startswith("#"):
            if found.options is None:
                found.options = _options(told, number)
            else:
                found.said.append(f"Row {number} is a second option line; only the first one counts.")
        elif section == "network data":
            found.data.append((number, told.split()))
        elif section == "reference":
            found.keywords["reference"] += f" {told}"
        elif section == "noise data":
            skipped += 1
    if skipped:
        found.said.append("Noise data were passed over.")
    return found


def _keyword(found: _Text, name: str, value: str, section: str) -> str:
    """Note a keyword of version 2 and return the section that it begins."""
    if name == "mixed-mode order":
        raise ContentNotKnown("The file holds mixed modes, which no evaluation here uses. Export single-ended data.")
    if section == "information" and name != "end information":
        return section
    found.keywords[name] = value
    sections = {
        "begin information": "information",
        "end information": "network data",
        "network data": "network data",
        "noise data": "noise data",
        "reference": "reference",
        "end": "end",
    }
    return sections.get(name, "network data")


def _options(told: str, row: int) -> _Options:
    words = told[1:].upper().split()
    options, place = _Options(), 0
    while place < len(words):
        word = words[place]
        place += 1
        if word in _UNITS:
            options = replace(options, unit=word)
        elif word in ("S", "Y", "Z", "G", "H"):
            options = replace(options, parameter=word)
        elif word in _FORMS:
            options = replace(options, form=word)
        elif word == "R":
            values = list(itertools.takewhile(lambda cell: cell not in _UNITS | _FORMS, words[place:]))
            place += len(values)
            options = replace(options, references=_resistances(values, row))
        else:
            raise RecordDamaged(f"Row {row}: “{word[:20]}” has no meaning in an option line. {_MEND}", row=row)
    return options


def _resistances(cells: list[str], row: int | None) -> tuple[float, ...]:
    values = []
    for cell in cells:
        try:
            value = float(cell)
        except ValueError:
            value = math.nan
        if not (math.isfinite(value) and value > 0):
            raise ContentNotKnown(
                f"The reference “{cell[:30]}” is no resistance greater than 0; a complex reference is not used here. "
                "Export the sweep with a real one.",
                row=row,
            )
        values.append(value)
    if not values:
        raise RecordDamaged(f"The option line names a reference but no resistance. {_MEND}", row=row)
    return tuple(values)


def _stated_ports(text: _Text) -> int:
    stated = text.keywords.get("number of ports", "")
    if not stated.isascii() or not stated.isdigit() or not 1 <= int(stated[:9]) <= _MOST_PORTS:
        raise ContentNotKnown(
            f"The file states “{stated[:20]}” ports; from 1 to {_MOST_PORTS} can be read. Export the ports that matter."
        )
    return int(stated)


def _version_1(rows: list[tuple[int, list[str]]]) -> tuple[list[tuple[int, list[str]]], int, list[str]]:
    """Return the rows without noise data, the number of ports, and what was passed over."""
    starts = [place for place, (_, cells) in enumerate(rows) if len(cells) % 2]
    if not starts or starts[0]:
        raise RecordDamaged(
            f"Row {rows[0][0]} must begin with a frequency and pairs of numbers, which is an odd count. {_MEND}",
            row=rows[0][0],
        )
    sizes = [sum(len(cells) for _, cells in rows[a:b]) for a, b in itertools.pairwise([*starts, len(rows)])]
    ports = math.isqrt((sizes[0] - 1) // 2)
    if 1 + 2 * ports**2 != sizes[0] or not 1 <= ports <= _MOST_PORTS:
        raise RecordDamaged(
            f"Row {rows[0][0]}: {sizes[0]} numbers belong to the first frequency; n ports take 1 + 2 n². {_MEND}",
            row=rows[0][0],
        )
    last = next((place for place, size in enumerate(sizes) if size != sizes[0]), len(sizes))
    if last == len(sizes):
        return rows, ports, []
    is_below = _begins_lower(rows[starts[last]][1], rows[starts[last - 1]][1])
    if ports == 2 and is_below and all(size == _NOISE_COLUMNS for size in sizes[last:]):
        return rows[: starts[last]], ports, ["Noise data were passed over."]
    number, kind = rows[starts[last]][0], RecordTruncated if last == len(sizes) - 1 else RecordDamaged
    raise kind(
        f"Row {number}: {sizes[last]} numbers belong to this frequency and {sizes[0]} to those before it. {_MEND}",
        row=number,
    )


def _begins_lower(cells: list[str], before: list[str]) -> bool:
    """Return whether the frequency goes back, as it does where noise data begin."""
    try:
        return float(cells[0]) <= float(before[0])
    except ValueError:
        return False


def _numbers(rows: list[tuple[int, list[str]]]) -> tuple[Samples, list[int]]:
    cells = [cell for _, row in rows for cell in row]
    places = [number for number, row in rows for _ in row]
    try:
        numbers = np.array(cells, dtype="U").astype(np.float64) if all(map(_is_plain, cells)) else None
    except ValueError:
        numbers = None
    if numbers is not None and np.isfinite(numbers).all():
        return numbers, places
    for number, cell in zip(places, cells, strict=True):
        try:
            is_good = math.isfinite(float(cell)) and _is_plain(cell)
        except ValueError:
            is_good = False
        if not is_good:
            raise NotANumber(f"Row {number} holds “{cell[:40]}” where a number must be. {_MEND}", row=number)
    raise RecordDamaged(f"The numbers could not be read. {_MEND}")


def _is_plain(cell: str) -> bool:
    return len(cell) <= 60 and cell.isascii() and "_" not in cell


def _pairs(keywords: dict[str, str], ports: int) -> list[tuple[int, int]]:
    """Return the places in the matrix, in the order in which the file writes them."""
    form = keywords.get("matrix format", "full").casefold() or "full"
    if form not in ("full", "lower", "upper"):
        raise RecordDamaged(f"“{form[:20]}” is no format of a matrix; known are Full, Lower, Upper. {_MEND}")
    pairs = [(row, column) for row in range(ports) for column in range(ports)]
    if form == "lower":
        return [(row, column) for row, column in pairs if column <= row]
    if form == "upper":
        return [(row, column) for row, column in pairs if column >= row]
    order = keywords.get("two-port data order", "21_12").strip()
    if ports == 2:
        if order not in ("21_12", "12_21"):
            raise RecordDamaged(f"“{order[:20]}” is no order of two-port data; known are 12_21 and 21_12. {_MEND}")
        if order == "21_12":
            return [(0, 0), (1, 0), (0, 1), (1, 1)]
    return pairs


def _check_count(keywords: dict[str, str], found: int, is_second: bool) -> None:
    stated = keywords.get("number of frequencies")
    if is_second and (stated is None or not stated.isascii() or not stated.isdigit()):
        raise RecordDamaged(f"A file of version 2 must state the number of its frequencies. {_MEND}")
    if stated is not None and stated.isdigit() and int(stated[:12]) != found:
        raise RecordTruncated(f"The file states {stated[:12]} frequencies and holds {found}: it is cut off. {_MEND}")


def _references(text: _Text, options: _Options, ports: int) -> tuple[float, ...]:
    stated = text.keywords.get("reference")
    values = _resistances(stated.split(), None) if stated else options.references
    if len(values) == 1:
        return values * ports
    if len(values) != ports:
        raise RecordDamaged(f"The file states {len(values)} reference resistances for {ports} ports. {_MEND}")
    if len(set(values)) > 1:
        text.said.append("The ports have different reference resistances.")
    return values


def _matrix(cells: Samples, pairs: list[tuple[int, int]], form: str, ports: int) -> NDArray[np.complex128]:
    first, second = cells[:, 0::2], cells[:, 1::2]
    if form == "RI":
        written = first + 1j * second
    else:
        size = first if form == "MA" else 10 ** (np.clip(first, -6000.0, 6000.0) / 20)
        written = size * np.exp(1j * np.deg2rad(second))
    values = np.zeros((len(cells), ports, ports), dtype=np.complex128)
    for place, (row, column) in enumerate(pairs):
        values[:, row, column] = written[:, place]
        if len(pairs) < ports**2:
            values[:, column, row] = written[:, place]
    return values
