"""What kind of text table a file holds: separator, decimal mark, heads, units, where the numbers begin."""

from __future__ import annotations

import csv
import itertools
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from records.readers.refusals import ColumnsDiffer, NoTable
from records.readers.stamps import CLOCKS, is_stamp
from records.readers.units import is_unit, may_name_part, understand_head

SEPARATORS: Mapping[str, str] = {
    "\t": "tab", ";": "semicolon", ",": "comma", "|": "vertical bar", " ": "blanks",
}  # fmt: skip
_SCORED = 300  # lines that are enough to tell a dialect by
_POINT = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$", re.ASCII)
_COMMA = re.compile(r"^[+-]?(\d+(,\d+)?|,\d+)([eE][+-]?\d+)?$", re.ASCII)
_ONE_COLUMN = ";"  # splits no number whatever its decimal mark
_NAN = re.compile(r"^[+-]?(nan|inf|infinity)$", re.IGNORECASE)
_RESULT = re.compile(r"^\s*[^\W\d][^;:=\t]*[;:=\t]\s*[+-]?\d+(?:[.,]\d+)?(?:\s*[^\s\d;]\S*)?\s*;?\s*$")
_COMMENT = re.compile(r"^\s*(#|//|;|!|%|\*)+\s?")
_PAIR = re.compile(r"^\s*([^:=;\t,]{1,60}?)\s*[:=;\t,]\s*(.+?)[\s;,\t]*$")


@dataclass(frozen=True)
class Dialect:
    """How to read the table.

    Attributes
    ----------
    separator : str
        One character; a blank stands for any run of blanks and tabs.
    decimal : str
        ``.`` or ``,``.
    columns : int
        Number of columns in the rows, without an empty one after a trailing separator.
    first_row : int
        Line of the first row of numbers, counted from 0.
    heads : tuple of str
        One for each column; ``column 1`` … where the file has none.
    units : tuple of str
        One for each column from a row of units; empty where there is none.
    has_heads : bool
        Whether the heads were read from the file.
    has_trailing_separator : bool
        Whether rows end in a separator.
    metadata : mapping of str to str
        Pairs from the lines before the heads.
    samples : tuple of tuple of str
        Cells of the first rows, as they stand in the file.
    """

    separator: str
    decimal: str
    columns: int
    first_row: int
    heads: tuple[str, ...]
    units: tuple[str, ...]
    has_heads: bool
    has_trailing_separator: bool
    metadata: Mapping[str, str] = field(default_factory=dict)
    samples: tuple[tuple[str, ...], ...] = ()


def split_cells(line: str, separator: str) -> list[str]:
    """Return the cells of one line, stripped; quoted cells may hold the separator."""
    if separator == " ":
        return line.split()
    if '"' in line:
        return [cell.strip() for cell in next(csv.reader([line.strip()], delimiter=separator), [])]
    return [cell.strip() for cell in line.split(separator)]


def is_number(cell: str, decimal: str) -> bool:
    """Return whether a cell is a number with this decimal mark (NaN and infinity count: they are refused later)."""
    return bool((_POINT if decimal == "." else _COMMA).match(cell) or _NAN.match(cell))


def _shape(line: str, separator: str, decimal: str) -> tuple[int, float]:
    """Return the number of cells, a trailing empty one not counted, and the share of them that are numbers."""
    cells = split_cells(line, separator)
    if len(cells) > 1 and cells[-1] == "":
        cells = cells[:-1]
    good = sum(is_number(cell, decimal) or is_stamp(cell) for cell in cells)
    return len(cells), good / len(cells) if good >= 2 or (good == len(cells) == 1) else 0.0


def _candidates(lines: Sequence[str]) -> list[tuple[str, str]]:
    """Return the pairs to try; commas can be both where cells stand in quotes, and that is tried last."""
    pairs = [(separator, decimal) for separator in SEPARATORS for decimal in ".,"]
    apart = [(separator, decimal) for separator, decimal in pairs if separator != decimal]
    return apart + [(",", ",")] * any('"' in line for line in lines)


def _score(lines: Sequence[str], separator: str, decimal: str) -> tuple[float, int]:
    """Return how well a dialect explains the lines, and the number of columns that most rows have."""
    shapes = [_shape(line, separator, decimal) for line in lines if line.strip()]
    counts = Counter(count for count, share in shapes if share > 0 and count > 1)
    if not counts:
        return 0.0, 0
    columns, _ = counts.most_common(1)[0]
    return sum(share for count, share in shapes if count == columns), columns


def _first_row(lines: Sequence[str], separator: str, decimal: str, columns: int) -> int:
    """Return the first line of numbers that is followed by lines of as many cells."""
    shapes = [_shape(line, separator, decimal) for line in lines]
    fits = [count == columns and share > 0 for count, share in shapes]
    for index, fit in enumerate(fits):
        following = [shapes[i][0] for i in range(index + 1, len(lines)) if lines[i].strip()][:5]
        if fit and sum(count == columns for count in following) >= len(following) / 2:
            return index
    return fits.index(True)


def _scored(lines: Sequence[str]) -> list[tuple[float, int, str, str]]:
    return [(*_score(lines, separator, decimal), separator, decimal) for separator, decimal in _candidates(lines)]


def sniff(lines: Sequence[str]) -> Dialect:
    """Return the dialect of a text table from its first lines.

    Each pair of separator and decimal mark is tried; the pair under which most cells of most lines are numbers wins.

    Parameters
    ----------
    lines : sequence of str
        First lines of the file without their ends; whole lines only.

    Returns
    -------
    Dialect
        Frozen.

    Raises
    ------
    NoTable
        No line holds numbers under any pair. Lines of a single number are a table of one column.
    ColumnsDiffer
        The heads name another number of columns than the rows have, as where decimal commas meet comma separators.
    """
    scored = _scored(lines[:_SCORED])
    if not any(row[0] for row in scored):
        scored = _scored(lines)  # a long preamble
    best = max(scored, key=lambda row: row[0])  # the first of equals wins: tab before blanks, point before comma
    score, columns, separator, decimal = best
    labelled = _labelled(lines) if score == 0 else None
    if labelled:
        (separator, decimal, first), columns = labelled, 2
    elif score == 0:
        columns, separator, decimal = 1, _ONE_COLUMN, _mark_of_single(lines)
    if not decimal and _lists_results(lines):
        raise NoTable(
            "The lines hold a name and one value each: a list of results, and no table. Write it as a table with a row "
            "of heads that name quantity and unit, as “Time (min);R (MΩ)”, and one row for each value; or export the "
            "readings themselves."
        )
    if not decimal:
        raise NoTable(
            "No rows of numbers were found. A record has one row for each sample, with at least a time and a voltage "
            "in columns; check that the right file was chosen."
        )
    if not labelled:
        first = _first_row(lines, separator, decimal, columns)
    if (separator, columns) == (",", 2) and _has_one_head(lines[:first]):  # 1,5 is one number and not two
        columns, separator, decimal = 1, _ONE_COLUMN, ","
    raw = split_cells(lines[first], separator)
    heads, units, used = _heads(lines[:first], separator, columns, raw)
    samples = tuple(tuple(split_cells(line, separator)[:columns]) for line in lines[first : first + 8] if line.strip())
    return Dialect(
        separator,
        decimal,
        columns,
        first,
        heads or tuple(f"column {number + 1}" for number in range(columns)),
        units,
        bool(heads),
        len(raw) == columns + 1 and raw[-1] == "",
        _metadata(lines[: first - used]),
        samples,
    )


def _has_one_head(before: Sequence[str]) -> bool:
    """Return whether the last line before the numbers is a single head of a known quantity."""
    head = next((line for line in reversed(before) if line.strip()), "")
    return "," not in head and understand_head(head.strip().strip('"'))[0] is not None


def _mark_of_single(lines: Sequence[str]) -> str:
    """Return the decimal mark of lines that hold one number each, and nothing where none do."""
    alone = [line.strip() for line in lines]
    counts = {mark: sum(is_number(cell, mark) for cell in alone) for mark in ".,"}
    best = max(counts, key=lambda mark: counts[mark])
    return best if counts[best] else ""


def _without_comment(line: str) -> str:
    return _COMMENT.sub("", line)


def _names_unit(cell: str) -> bool:
    return is_unit(cell) or cell.strip("[]() ") in CLOCKS


def _labelled(lines: Sequence[str]) -> tuple[str, str, int] | None:
    """Return separator, decimal mark and first row of a table of one column of names and one of numbers, else None.

    Its heads must say so, as ``Phase;R (Ω)``: lines before another table look the same.
    """
    told = [place for place, line in enumerate(lines) if line.strip()]
    for separator, decimal in _candidates(lines):
        for head, first in itertools.pairwise(told):
            names = split_cells(_without_comment(lines[head]), separator)
            label = next((place for place, name in enumerate(names) if may_name_part(name)), None)
            if len(names) != 2 or label is None or understand_head(names[1 - label])[0] is None:
                continue
            rows = [split_cells(lines[place], separator) for place in told if place >= first]
            if all(len(row) == 2 and row[label] and is_number(row[1 - label], decimal) for row in rows):
                return separator, decimal, first
    return None


def _lists_results(lines: Sequence[str]) -> bool:
    """Return whether most lines hold a name and one value, as a meter prints its results."""
    told = [line for line in lines if line.strip()]
    return bool(told) and sum(bool(_RESULT.match(line)) for line in told) > len(told) / 2


def _cells_of_head(line: str, separator: str, columns: int) -> list[str]:
    """Return the heads of a line, without an empty one at the end; blanks inside heads are allowed for."""
    cells = split_cells(_without_comment(line), separator)
    while len(cells) > columns and cells[-1] == "":
        cells = cells[:-1]
    if separator == " " and len(cells) != columns:
        for wide in (r"\s{2,}|\t", r"\s+(?![\(\[])"):
            split = [cell for cell in re.split(wide, _without_comment(line).strip()) if cell]
            if len(split) == columns:
                return split
    return cells


def _heads(
    before: Sequence[str], separator: str, columns: int, first_row: Sequence[str]
) -> tuple[tuple[str, ...], tuple[str, ...], int]:
    """Return heads, units and the number of lines that they take directly before the numbers."""
    used, units = 0, ()  # type: int, tuple[str, ...]
    remaining = list(before)
    while remaining and not remaining[-1].strip():
        remaining, used = remaining[:-1], used + 1
    if not remaining:
        return (), (), used
    cells = _cells_of_head(remaining[-1], separator, columns)
    if len(cells) == columns and sum(map(_names_unit, cells)) >= max(1, sum(bool(c.strip("[]()-")) for c in cells)):
        units = tuple(cells)
        remaining, used = remaining[:-1], used + 1
        cells = _cells_of_head(remaining[-1], separator, columns) if remaining else []
    if len(cells) == columns and not all(is_number(cell, ".") for cell in cells):
        return tuple(cells), units, used + 1
    if len(cells) > 1 and sum(understand_head(cell)[0] is not None for cell in cells) >= 2:
        raise ColumnsDiffer(
            f"The heads name {len(cells)} columns, but the rows have {columns}. Where numbers have decimal commas, the "
            "columns must be separated by semicolons or tabs: export the record so.",
            row=len(before) + 1,
        )
    return (), units, used


def _metadata(lines: Sequence[str]) -> dict[str, str]:
    pairs: dict[str, str] = {}
    for line in lines:
        match = _PAIR.match(_without_comment(line).strip('"'))
        if match and len(pairs) < 200:
            pairs[match[1].strip('" ')] = match[2].strip('" ')[:500]
    return pairs
