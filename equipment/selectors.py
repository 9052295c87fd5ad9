"""Reads across instruments, calibrations and systems: who is in calibration on a day, and who soon is not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from equipment.metrology.validity import (
    BoardClass,
    CalibrationPeriod,
    CalibrationStatus,
    OutOfService,
    OutOfServiceKind,
    board_class,
    calibration_status,
    in_words,
)
from equipment.models import Calibration, Instrument, MeasuringSystem

HORIZON_DAYS = 60
BOARD_WORDS: dict[BoardClass, str] = {
    "overdue": "Overdue",
    "due_soon": "Due soon",
    "fine": "Fine",
    "out_of_service": "Out of service",
}
BOARD_TONES: dict[BoardClass, str] = {"overdue": "bad", "due_soon": "warn", "fine": "ok", "out_of_service": "void"}
_OUT: dict[Any, OutOfServiceKind] = {
    Instrument.State.IN_CALIBRATION: "in_repair",
    Instrument.State.QUARANTINED: "quarantined",
    Instrument.State.RETIRED: "retired",
}


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


@dataclass(frozen=True)
class SystemStatus:
    """Whether a measuring system may be used on a day, and why not."""

    system: MeasuringSystem
    is_valid: bool
    reasons: tuple[str, ...]


def instrument_status(instrument: Instrument, on: date) -> CalibrationStatus:
    """Return whether the instrument was in calibration and in service on a day, from its prefetched calibrations."""
    periods = [
        CalibrationPeriod(
            row.calibrated_on, row.due_on, row.verdict == Calibration.Verdict.WITHIN, row.certificate_number
        )
        for row in instrument.calibrations.all()
    ]
    status = calibration_status(periods, on, out_of_service=_absences(instrument))
    if status.code in _OUT.values():
        return replace(status, reason=_absence_in_words(instrument))
    return status


def _absence_in_words(instrument: Instrument) -> str:
    since = f" since {in_words(instrument.state_since)}" if instrument.state_since else ""
    why = f" ({instrument.state_reason})" if instrument.state_reason else ""
    return f"The instrument is {instrument.get_state_display().lower()}{since}{why}."


def _absences(instrument: Instrument) -> list[OutOfService]:
    kind = _OUT.get(instrument.state)
    return [OutOfService(kind, instrument.state_since or date.min, reason=instrument.state_reason)] if kind else []


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


def system_status(system: MeasuringSystem, on: date) -> SystemStatus:
    """Return whether a system and all its instruments may be used on a day, from its prefetched components."""
    reasons = [f"{system.name} was assigned only on {system.assigned_on}."] if on < system.assigned_on else []
    if system.ended_on is not None and on >= system.ended_on:
        reasons.append(f"{system.name} ended on {in_words(system.ended_on)}.")
    for component in system.components.all():
        status = instrument_status(component.instrument, on)
        if not status.is_valid:
            reasons.append(f"{component.instrument.identifier}: {status.reason}")
    return SystemStatus(system, not reasons, tuple(reasons))


def _urgency(row: BoardRow) -> tuple[int, date, str]:
    order: Sequence[str] = tuple(BOARD_WORDS)
    return order.index(row.board), row.status.due_on or date.min, row.instrument.identifier
