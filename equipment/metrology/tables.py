"""Tables as people have them: pasted from a sheet, CSV or XLSX, read into rows of texts within hard limits."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import date, datetime
from typing import Any

MOST_BYTES = 10 * 2**20
MOST_ROWS = 5_000
MOST_COLUMNS = 60
MOST_CELL_CHARACTERS = 500
MOST_UNPACKED_BYTES = 60 * 2**20
MOST_PARTS = 500
MOST_RATIO = 200

Rows = list[list[str]]


class TableRefused(ValueError):
    """A table that cannot be read: the words say what and the mend."""


def read_table(content: bytes, name: str) -> Rows:
    """Read a CSV or XLSX file into rows of trimmed texts.

    Parameters
    ----------
    content : bytes
        The file; at most `MOST_BYTES`.
    name : str
        Its given name, for the words of a refusal; the kind is told from the content.

    Returns
    -------
    list of list of str, shape (rows, columns)
        Rows without content are left out at the end, others kept, so that row numbers stay.

    Raises
    ------
    TableRefused
        The file is empty, too large, packed too tightly, not a table, or in no known character set.

    Notes
    -----
    Numbers of a spreadsheet come as Python writes them, so with a point and all their digits; dates as ISO days.
    Formulas are not calculated: their stored value counts.
    """
    if not content:
        raise TableRefused(f"“{name}” is empty: 0 bytes.")
    if len(content) > MOST_BYTES:
        raise TableRefused(f"“{name}” is over {MOST_BYTES // 2**20} MB; a table of this kind never is.")
    rows = _spreadsheet(content, name) if content.startswith(b"PK\x03\x04") else read_text(_decoded(content, name))
    return _within_limits(rows, name)


def read_text(text: str) -> Rows:
    """Read pasted or comma-separated text; the separator is a tab, a semicolon or a comma, as the first rows have it.

    Raises TableRefused where a quoted cell never ends or is too long.
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    first = [line for line in lines.split("\n") if line.strip()][:20]
    counts = {sign: sum(sign in line for line in first) for sign in "\t;,"}
    separator = max(counts, key=lambda sign: counts[sign])  # of several equal ones the first: tab, semicolon, comma
    try:
        found = list(csv.reader(io.StringIO(lines), delimiter=separator, strict=True))
    except csv.Error as fault:
        raise TableRefused(f"The text is no table: {fault}.") from fault
    return _within_limits([[cell.strip() for cell in row] for row in found], "The text")


def _decoded(content: bytes, name: str) -> str:
    if b"\x00" in content[:4096]:
        raise TableRefused(f"“{name}” is neither CSV nor XLSX.")
    for code in ("utf-8-sig", "cp1252"):
        try:
            return content.decode(code)
        except UnicodeDecodeError:
            continue
    raise TableRefused(f"“{name}” is in no character set that is known here; save it as CSV in UTF-8.")


def _within_limits(rows: Rows, name: str) -> Rows:
    while rows and not any(rows[-1]):
        rows.pop()
    if not rows:
        raise TableRefused(f"{name} holds no row.")
    if len(rows) > MOST_ROWS:
        raise TableRefused(f"{name} has more than {MOST_ROWS} rows; split it.")
    for number, row in enumerate(rows, start=1):
        if len(row) > MOST_COLUMNS:
            raise TableRefused(f"Row {number} has more than {MOST_COLUMNS} columns.")
        if any(len(cell) > MOST_CELL_CHARACTERS for cell in row):
            raise TableRefused(f"Row {number} has a cell of more than {MOST_CELL_CHARACTERS} characters.")
    return rows


def _spreadsheet(content: bytes, name: str) -> Rows:
    _refuse_bomb(content, name)
    import openpyxl  # slow to load, and needed only where someone brings a spreadsheet

    try:
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True, keep_links=False)
        sheet = book.active
        if sheet is None or not hasattr(sheet, "iter_rows"):
            raise TableRefused(f"“{name}” has no sheet with cells.")
        read = sheet.iter_rows(max_row=MOST_ROWS + 1, max_col=MOST_COLUMNS, values_only=True)
        rows = [[_cell(value) for value in row] for row in read]
        book.close()
    except TableRefused:
        raise
    except Exception as fault:  # the library raises anything on a broken file
        raise TableRefused(f"“{name}” cannot be read as XLSX ({type(fault).__name__}); save it anew.") from fault
    return [_without_empty_end(row) for row in rows]


def _refuse_bomb(content: bytes, name: str) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as parts:
            entries = parts.infolist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError) as fault:
        raise TableRefused(f"“{name}” is a damaged XLSX file; save it anew.") from fault
    unpacked = sum(entry.file_size for entry in entries)
    is_tight = any(entry.file_size > MOST_RATIO * max(entry.compress_size, 1) for entry in entries)
    if len(entries) > MOST_PARTS or unpacked > MOST_UNPACKED_BYTES or is_tight:
        raise TableRefused(f"“{name}” unpacks to far more than a table of this kind holds; it was not opened.")


def _without_empty_end(row: list[str]) -> list[str]:
    while row and not row[-1]:
        row.pop()
    return row


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.date().isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value).strip()


def number_of(text: str) -> float | None:
    """Return the number of a cell, with a decimal point or comma, or None for an empty one.

    Raises
    ------
    ValueError
        The cell holds something else; thousands must not be grouped by a sign that could be the decimal one.

    Examples
    --------
    >>> number_of("-12,5"), number_of("1 000.25"), number_of("")
    (-12.5, 1000.25, None)
    """
    plain = text.replace("\N{MINUS SIGN}", "-")
    for space in (" ", "\N{NO-BREAK SPACE}", "\N{THIN SPACE}", "\N{NARROW NO-BREAK SPACE}"):
        plain = plain.replace(space, "")
    if not plain:
        return None
    if "," in plain and "." in plain:
        raise ValueError(f"“{text}” has both a comma and a point; write it with one decimal sign.")
    number = float(plain.replace(",", "."))
    if number != number or number in (float("inf"), float("-inf")):
        raise ValueError(f"“{text}” is no finite number.")
    return number
