"""Reads across instruments, calibrations and systems."""

from equipment.selectors.board import (
    BOARD_WORDS,
    HORIZON_DAYS,
    Board,
    BoardRow,
    board_row,
    instrument_board,
    instruments_due,
)
from equipment.selectors.status import Measured, SystemStatus, instrument_status, system_status

__all__ = [
    "BOARD_WORDS",
    "HORIZON_DAYS",
    "Board",
    "BoardRow",
    "Measured",
    "SystemStatus",
    "board_row",
    "instrument_board",
    "instrument_status",
    "instruments_due",
    "system_status",
]
