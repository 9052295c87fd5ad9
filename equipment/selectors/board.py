"""The board of a day: which instruments are overdue, due soon, fine, or out of service; for today or any other day."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, overload

from django.db.models import Case, Count, Exists, F, Max, OuterRef, Q, Subquery, Value, When, prefetch_related_objects

from equipment.metrology.validity import BoardClass, CalibrationPeriod, CalibrationStatus, board_class
from equipment.models import Calibration, Instrument, StateChange
from equipment.selectors.status import instrument_status, period_of

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
    """The rows of a board in order; the instruments of a slice are fetched when it is looked at."""

    def __init__(self, ordered: Any, count: int, on: date, horizon_days: int, *, is_as_it_stands: bool) -> None:
        self._ordered, self._count, self._on, self._horizon_days = ordered, count, on, horizon_days
        self._is_as_it_stands = is_as_it_stands

    def __len__(self) -> int:
        return self._count

    def __iter__(self) -> Iterator[BoardRow]:
        return iter(self[:])

    @overload
    def __getitem__(self, place: int) -> BoardRow: ...

    @overload
    def __getitem__(self, place: slice) -> tuple[BoardRow, ...]: ...

    def __getitem__(self, place: int | slice) -> BoardRow | tuple[BoardRow, ...]:
        if isinstance(place, int):
            return self[place : place + 1][0]
        found = list(self._ordered[place])
        prefetch_related_objects([row for row in found if row.state_since is not None], "state_changes")
        periods = _periods([row.pk for row in found], only_latest=self._is_as_it_stands)
        return tuple(board_row(row, self._on, self._horizon_days, periods=periods.get(row.pk, [])) for row in found)


def _periods(keys: list[int], *, only_latest: bool) -> dict[int, list[CalibrationPeriod]]:
    """Return the calibrations of many instruments as plain values, for a page need not build a row of each."""
    rows = Calibration.objects.filter(instrument__in=keys).order_by()
    if only_latest:  # no other can count on the day
        rows = rows.filter(calibrated_on=F("instrument__latest_on"))
    found: dict[int, list[CalibrationPeriod]] = {}
    for key, *said in rows.values_list("instrument_id", "calibrated_on", "due_on", "verdict", "certificate_number"):
        found.setdefault(key, []).append(period_of(*said))
    return found


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
    """Return the board as this viewer sees it: one query for the counts (two for a day that has
    passed), at most three for the rows looked at.

    `board` narrows the rows to one class; the counts are of all that `quantity` and `text` let through.
    """
    found = Instrument.objects.visible_to(viewer).matching(text).measuring(quantity)
    classed = _classed(found, _as_it_stands(), on, horizon_days)
    counted = list(classed.order_by().values_list("rank").annotate(count=Count("pk"), deeper=Max(_looks_deeper(on))))
    is_as_it_stands = not any(deeper for *_, deeper in counted)
    if not is_as_it_stands:
        classed = _classed(found, _looked_up(on), on, horizon_days)
        counted = [(*row, 0) for row in classed.order_by().values_list("rank").annotate(count=Count("pk"))]
    counts = {rank: count for rank, count, _ in counted}
    chips = tuple(
        BoardChip(name, words, BOARD_TONES[name], counts.get(_RANK[name], 0), name == board)
        for name, words in BOARD_WORDS.items()
    )
    shown = [chip for chip in chips if board in ("", chip.board)]
    chosen = classed.filter(rank=_RANK[shown[0].board]) if board else classed
    ordered = chosen.order_by("rank", F("due_then").asc(nulls_first=True), "identifier")
    count = sum(chip.count for chip in shown)
    rows = BoardRows(ordered, count, on, horizon_days, is_as_it_stands=is_as_it_stands)
    return Board(on, horizon_days, rows, chips)


def _classed(found: Any, standing: dict[str, Any], on: date, horizon_days: int) -> Any:
    """Return the instruments with the rank of their class and their due day on a day, worked out by the database."""
    told = found.annotate(**standing)
    is_out = Q(state_then__isnull=False) & ~Q(state_then=Instrument.State.IN_USE)
    rank = Case(
        When(is_out, then=Value(_RANK["out_of_service"])),
        When(is_indicator=True, then=Value(_RANK["fine"])),
        When(due_then__gte=on + timedelta(days=horizon_days + 1), is_good_then=True, then=Value(_RANK["fine"])),
        When(due_then__gte=on, is_good_then=True, then=Value(_RANK["due_soon"])),
        default=Value(_RANK["overdue"]),
    )
    return told.annotate(rank=rank)


def _looks_deeper(on: date) -> Case:
    """Return 1 for an instrument beside which what counts on the day does not stand: a day that has passed."""
    unknown = Q(latest_on__isnull=True) & Exists(Calibration.objects.filter(instrument=OuterRef("pk")))
    return Case(When(Q(latest_on__gt=on) | Q(state_since__gt=on) | unknown, then=Value(1)), default=Value(0))


def _as_it_stands() -> dict[str, Any]:
    return {"state_then": F("state"), "due_then": F("latest_due_on"), "is_good_then": F("latest_is_good")}


def _looked_up(on: date) -> dict[str, Any]:
    """Return the same from the calibrations and state changes themselves, for a day that has passed."""
    worst_first = Case(*(When(state=state, then=Value(rank)) for rank, state in enumerate(_WORST_FIRST)))
    states = StateChange.objects.filter(instrument=OuterRef("pk"), on__lte=on).order_by("-at", worst_first, "reason")
    counting = Calibration.objects.filter(instrument=OuterRef("pk"), calibrated_on__lte=on).counting_first()
    is_good = Case(When(verdict=Calibration.Verdict.WITHIN, then=Value(True)), default=Value(False))
    return {
        "state_then": Case(When(state_since__gt=on, then=Subquery(states.values("state")[:1])), default=F("state")),
        "due_then": Subquery(counting.values("due_on")[:1]),
        "is_good_then": Subquery(counting.values(good=is_good)[:1]),
    }


def board_row(
    instrument: Instrument,
    on: date,
    horizon_days: int = HORIZON_DAYS,
    *,
    periods: Sequence[CalibrationPeriod] | None = None,
) -> BoardRow:
    """Return one instrument as the board shows it; `periods` as `instrument_status` takes them."""
    status = instrument_status(instrument, on, periods=periods)
    return BoardRow(instrument, status, board_class(status, horizon_days=horizon_days))


def instruments_due(viewer: Any, on: date, horizon_days: int = HORIZON_DAYS) -> tuple[BoardRow, ...]:
    """Return the instruments that are overdue or due within the horizon, the most urgent first."""
    return tuple(row for row in instrument_board(viewer, on, horizon_days).rows if row.board in ("overdue", "due_soon"))
