"""The board as CSV, XLSX and PDF; texts that a spreadsheet would take for a formula are neutralised."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from datetime import date
from typing import Any

from django.template.loader import render_to_string

from equipment.selectors.board import Board, BoardRow

HEADS = ("Instrument", "Description", "Maker", "Model", "Serial number", "Measures", "Place", "Kept by",
         "Stands", "Reason", "Calibrated on", "Due on", "Days left")  # fmt: skip
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n")


def neutral(text: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula: a text that begins like one gets an apostrophe before it.

    Numbers, days and empty cells stay as they are.

    Examples
    --------
    >>> neutral("=1+1"), neutral(-12.5), neutral("HV-01")
    ("'=1+1", -12.5, 'HV-01')
    """
    return f"'{text}" if isinstance(text, str) and text.lstrip(" ").startswith(_FORMULA_SIGNS) else text


def rows_of(board: Board) -> Iterator[tuple[Any, ...]]:
    """Yield what each row of the board says, as values."""
    for row in board.rows:
        yield tuple(neutral(cell) for cell in _cells(row))


def _cells(row: BoardRow) -> tuple[Any, ...]:
    item = row.instrument
    names = (item.identifier, item.description, item.maker, item.model, item.serial, item.get_quantity_display())
    stands = (row.words, row.status.reason, row.performed_on, row.status.due_on, row.status.days_left)
    return (*names, item.location, item.custodian, *stands)


def csv_of(board: Board) -> bytes:
    """Return the board as CSV in UTF-8 with a mark, so that spreadsheets read it rightly; days in ISO form."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(HEADS)
    writer.writerows([_written(cell) for cell in row] for row in rows_of(board))
    return b"\xef\xbb\xbf" + out.getvalue().encode()


def _written(cell: Any) -> Any:
    return cell.isoformat() if isinstance(cell, date) else "" if cell is None else cell


def xlsx_of(board: Board) -> bytes:
    """Return the board as a spreadsheet; numbers are numbers, days are days, and no cell is a formula."""
    import openpyxl  # slow to load, and needed for this alone

    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet(f"Instruments {board.on}")
    sheet.freeze_panes = "A2"
    sheet.append(HEADS)
    for row in rows_of(board):
        sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def pdf_of(board: Board, made_by: Any) -> bytes:
    """Return the board as PDF on A4 sheets laid across."""
    html = render_to_string("equipment/print/board.html", {"board": board, "made_by": made_by})
    return typeset(html, "equipment/print/board.css")


def typeset(html: str, style: str) -> bytes:
    """Return a page as PDF; nothing is fetched but what the page carries within itself."""
    import weasyprint  # needs a library of the system; without it the other exports still work

    only_data = weasyprint.URLFetcher(allowed_protocols=("data",), fail_on_errors=True)
    sheet = weasyprint.CSS(string=render_to_string(style), url_fetcher=only_data)
    return bytes(weasyprint.HTML(string=html, url_fetcher=only_data).write_pdf(stylesheets=[sheet], pdf_tags=True))
