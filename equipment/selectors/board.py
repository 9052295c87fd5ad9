"""The board of a day: which instruments are overdue, due soon, fine, or out of service; for today or any other day."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, overload

from django.db.models import Case, Exists, OuterRef, Subquery, Value, When
from django.db.models.functions import JSONObject

from equipment.metrology.validity import BoardClass, CalibrationStatus, board_class
from equipment.models import Calibration, Instrument, StateChange
from equipment.selectors.status import instrument_status

HORIZON_DAYS = 60
BOARD_WORDS: dict[BoardClass, str] = {
    "overdue": "Overdue",
    "due_soon": "Due soon",
    "fine": "Fine",
    "out_of_service": "Out of service",
}
BOARD_TONES: dict[BoardClass, str] = {"overdue": "bad", "due_soon": "warn", "fine": "ok", "out_of_service": "void"}
_RANK = {name: place for place, name in enumerate(BOARD_WORDS)}
_WORST_FIRST = ("retired", "quarantined", "in_calibration", "in_use")


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


class BoardRows(Sequence[BoardRow]):
    """The rows of a board by their keys, in order; the instruments of a slice are fetched when it is looked at."""

    def __init__(self, keys: Sequence[int], on: date, horizon_days: int) -> None:
        self._keys, self._on, self._horizon_days = keys, on, horizon_days

    def __len__(self) -> int:
        return len(self._keys)

    def __iter__(self) -> Iterator[BoardRow]:
        return iter(self._fetched(self._keys))

    @overload
    def __getitem__(self, place: int) -> BoardRow: ...

    @overload
    def __getitem__(self, place: slice) -> tuple[BoardRow, ...]: ...

    def __getitem__(self, place: int | slice) -> BoardRow | tuple[BoardRow, ...]:
        if isinstance(place, slice):
            return self._fetched(self._keys[place])
        return self._fetched([self._keys[place]])[0]

    def _fetched(self, keys: Sequence[int]) -> tuple[BoardRow, ...]:
        found = {row.pk: row for row in Instrument.objects.filter(pk__in=keys).for_list()} if keys else {}
        return tuple(board_row(found[key], self._on, self._horizon_days) for key in keys)


@dataclass(frozen=True)
class Board:
    """The board of a day: its rows, the most urgent first, and the count of each class."""

    on: date
    horizon_days: int
    rows: BoardRows
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
    """Return the board as this viewer sees it: one query for the classes of all, three for the rows looked at.

    `board` narrows the rows to one class; the counts are of all that `quantity` and `text` let through.
    """
    found = Instrument.objects.visible_to(viewer).matching(text).measuring(quantity)
    lines = [_line(row, on, horizon_days) for row in _summary(found, on)]
    counts = dict.fromkeys(BOARD_WORDS, 0)
    for line in lines:
        counts[line[3]] += 1
    chips = tuple(
        BoardChip(name, words, BOARD_TONES[name], counts[name], name == board) for name, words in BOARD_WORDS.items()
    )
    keys = [key for _, _, _, name, key in sorted(lines) if board in ("", name)]
    return Board(on, horizon_days, BoardRows(keys, on, horizon_days), chips)


def _summary(found: Any, on: date) -> Any:
    """Return key, identifier, what counts on the day, and the state of each instrument: one query."""
    outside_first = Case(When(verdict=Calibration.Verdict.OUTSIDE, then=Value(0)), default=Value(1))
    worst_first = Case(*(When(state=state, then=Value(rank)) for rank, state in enumerate(_WORST_FIRST)))
    calibrations = Calibration.objects.filter(instrument=OuterRef("pk"), calibrated_on__lte=on)
    counting = calibrations.order_by("-calibrated_on", outside_first, "due_on", "certificate_number")
    states = StateChange.objects.filter(instrument=OuterRef("pk"), on__lte=on).order_by("-at", worst_first, "reason")
    return found.order_by().values_list(
        "pk",
        "identifier",
        "is_indicator",
        "state",
        "state_since",
        Subquery(counting.values(said=JSONObject(due="due_on", verdict="verdict"))[:1]),
        Subquery(states.values("state")[:1]),
        Exists(StateChange.objects.filter(instrument=OuterRef("pk"))),
    )


def _line(row: Any, on: date, horizon_days: int) -> tuple[int, str, str, BoardClass, int]:
    """Return rank, due day and identifier, by which the board is ordered, with class and key of one instrument."""
    key, identifier, is_indicator, state, since, counting, state_then, has_states = row
    due = counting["due"] if counting else ""
    is_out = _is_out(state_then, has_states, state, since, on)
    name = _class(is_out, is_indicator, counting, on, horizon_days)
    return _RANK[name], due or "", identifier, name, key


def _is_out(state_then: str | None, has_states: bool, state: str, since: date | None, on: date) -> bool:
    if has_states:
        return state_then is not None and state_then != Instrument.State.IN_USE
    return state != Instrument.State.IN_USE and (since is None or since <= on)


def _class(is_out: bool, is_indicator: bool, counting: Any, on: date, horizon_days: int) -> BoardClass:
    """Return what `board_class` says of the whole status, from the calibration that counts alone."""
    if is_out:
        return "out_of_service"
    if is_indicator:
        return "fine"
    if counting is None or counting["verdict"] != Calibration.Verdict.WITHIN:
        return "overdue"
    left = (date.fromisoformat(counting["due"]) - on).days
    if left < 0:
        return "overdue"
    return "due_soon" if left <= horizon_days else "fine"


def board_row(instrument: Instrument, on: date, horizon_days: int = HORIZON_DAYS) -> BoardRow:
    """Return one instrument as the board shows it."""
    status = instrument_status(instrument, on)
    return BoardRow(instrument, status, board_class(status, horizon_days=horizon_days))


def instruments_due(viewer: Any, on: date, horizon_days: int = HORIZON_DAYS) -> tuple[BoardRow, ...]:
    """Return the instruments that are overdue or due within the horizon, the most urgent first."""
    return tuple(row for row in instrument_board(viewer, on, horizon_days).rows if row.board in ("overdue", "due_soon"))
