"""The board of a day: which instruments are overdue, due soon, fine, or out of service."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from equipment.metrology.validity import BoardClass, CalibrationStatus, board_class
from equipment.models import Instrument
from equipment.selectors.status import instrument_status

HORIZON_DAYS = 60
BOARD_WORDS: dict[BoardClass, str] = {
    "overdue": "Overdue",
    "due_soon": "Due soon",
    "fine": "Fine",
    "out_of_service": "Out of service",
}
BOARD_TONES: dict[BoardClass, str] = {"overdue": "bad", "due_soon": "warn", "fine": "ok", "out_of_service": "void"}


@dataclass(frozen=True)
class BoardRow:
    """One instrument as the board shows it on a day."""

    instrument: Instrument
    status: CalibrationStatus
    board: BoardClass

    @property
    def performed_on(self) -> date | None:
        """Return the day of the calibration that counts."""
        return self.status.calibration.performed_on if self.status.calibration else None

    @property
    def words(self) -> str:
        """Return the class in words."""
        return BOARD_WORDS[self.board]

    @property
    def tone(self) -> str:
        """Return the tone of the class."""
        return BOARD_TONES[self.board]

    @property
    def days_in_words(self) -> str:
        """Return how long it is until the due date, or since."""
        days = self.status.days_left
        if days is None:
            return ""
        unit = "day" if abs(days) == 1 else "days"
        return f"{days} {unit} left" if days >= 0 else f"{-days} {unit} over"


@dataclass(frozen=True)
class BoardChip:
    """One class of the board with how many instruments are in it."""

    board: BoardClass
    words: str
    tone: str
    count: int
    is_chosen: bool


@dataclass(frozen=True)
class Board:
    """The board of a day: its rows, the most urgent first, and the count of each class."""

    on: date
    horizon_days: int
    rows: tuple[BoardRow, ...]
    chips: tuple[BoardChip, ...]

    @property
    def counts(self) -> dict[str, int]:
        """Return the number of instruments in each class."""
        return {chip.board: chip.count for chip in self.chips}


def instrument_board(
    viewer: Any,
    on: date,
    horizon_days: int = HORIZON_DAYS,
    *,
    board: str = "",
    quantity: str = "",
    text: str = "",
) -> Board:
    """Return the board as this viewer sees it; two queries, whatever the number of instruments.

    `board` narrows the rows to one class; the counts are of all that `quantity` and `text` let through.
    """
    found = Instrument.objects.visible_to(viewer).matching(text).measuring(quantity).for_list()
    rows = [board_row(instrument, on, horizon_days) for instrument in found]
    chips = tuple(
        BoardChip(name, words, BOARD_TONES[name], sum(row.board == name for row in rows), name == board)
        for name, words in BOARD_WORDS.items()
    )
    shown = tuple(sorted((row for row in rows if board in ("", row.board)), key=_urgency))
    return Board(on, horizon_days, shown, chips)


def board_row(instrument: Instrument, on: date, horizon_days: int = HORIZON_DAYS) -> BoardRow:
    """Return one instrument as the board shows it."""
    status = instrument_status(instrument, on)
    return BoardRow(instrument, status, board_class(status, horizon_days=horizon_days))


def instruments_due(viewer: Any, on: date, horizon_days: int = HORIZON_DAYS) -> tuple[BoardRow, ...]:
    """Return the instruments that are overdue or due within the horizon, the most urgent first."""
    return tuple(row for row in instrument_board(viewer, on, horizon_days).rows if row.board in ("overdue", "due_soon"))


def _urgency(row: BoardRow) -> tuple[int, date, str]:
    order: Sequence[str] = tuple(BOARD_WORDS)
    return order.index(row.board), row.status.due_on or date.min, row.instrument.identifier
