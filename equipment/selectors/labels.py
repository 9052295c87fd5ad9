"""Labels of instruments: what stands on each, with its QR code as one path."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import segno

from equipment.models import Instrument
from equipment.selectors.board import BoardRow


@dataclass(frozen=True)
class Label:
    """One label: the row of the board, and the code of its page's address (path and side in modules)."""

    row: BoardRow
    path: str
    side: int


def labels(rows: Iterable[BoardRow], address_of: Callable[[Instrument], str]) -> list[Label]:
    """Return a label for each row; its code leads to the instrument's page."""
    return [_label(row, address_of(row.instrument)) for row in rows]


def _label(row: BoardRow, address: str) -> Label:
    code = segno.make(address, error="m", micro=False)
    path = "".join(
        f"M{x} {y}h1v1h-1z" for y, line in enumerate(code.matrix) for x, is_dark in enumerate(line) if is_dark
    )
    return Label(row, path, len(code.matrix))
