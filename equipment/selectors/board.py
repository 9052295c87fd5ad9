"""The board of a day: which instruments are overdue, due soon, fine, or out of service; for today or any other day."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, overload

from django.db.models import (
    Case,
    Count,
    F,
    FilteredRelation,
    Max,
    OuterRef,
    Q,
    Subquery,
    Value,
    When,
    prefetch_related_objects,
)
from django.utils import timezone

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
_OUT = _WORST_FIRST[:-1]
_GOOD = Calibration.Verdict.WITHIN


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
    """Rows of a board in order; the instruments of a slice are fetched when it is looked at."""

    def __init__(
        self, ordered: Any, count: int, on: date, horizon_days: int, *, are_spans_kept: bool, is_past: bool
    ) -> None:
        self._ordered, self._count, self._on, self._horizon_days = ordered, count, on, horizon_days
        self._are_spans_kept, self._is_by_spans = are_spans_kept, are_spans_kept and is_past

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
        found, periods = self._of_a_past_day(place) if self._is_by_spans else self._as_fetched(place)
        prefetch_related_objects([row for row in found if row.state_since is not None], "state_changes")
        return tuple(board_row(row, self._on, self._horizon_days, periods=periods.get(row.pk, [])) for row in found)

    def _as_fetched(self, place: slice) -> _Found:
        """Return instruments with the calibrations that count on the day; where nobody kept which, with all."""
        found = list(self._ordered[place])
        keys = [row.pk for row in found]
        if not self._are_spans_kept:
            return found, _periods(Q(instrument__in=keys))
        return found, _with_others(keys, _periods(Q(instrument__in=keys) & _counts_on(self._on)))

    def _of_a_past_day(self, place: slice) -> _Found:
        """Return the same for a day that has passed: first the narrow rows, which an index answers, then the wide."""
        names = ("pk", "on_then", "due_then", "verdict_then", "number_then")
        rows = list(self._ordered.values_list(*names)[place])
        wide = Instrument.objects.in_bulk([key for key, *_ in rows])
        counting = {key: [period_of(*said)] for key, *said in rows if said[0] is not None}
        return [wide[key] for key, *_ in rows], _with_others(list(wide), counting)


_Found = tuple[list[Instrument], dict[int, list[CalibrationPeriod]]]


def _with_others(keys: list[int], counting: dict[int, list[CalibrationPeriod]]) -> dict[int, list[CalibrationPeriod]]:
    """Return what counts; of an instrument of which nothing does, all its calibrations, for the reason in words."""
    others = [key for key in keys if key not in counting]
    return counting | (_periods(Q(instrument__in=others)) if others else {})


def _periods(narrowed: Q) -> dict[int, list[CalibrationPeriod]]:
    """Return calibrations by instrument as plain values, for a page need not build a row of each."""
    rows = Calibration.objects.filter(narrowed).order_by()
    found: dict[int, list[CalibrationPeriod]] = {}
    for key, *said in rows.values_list("instrument_id", "calibrated_on", "due_on", "verdict", "certificate_number"):
        found.setdefault(key, []).append(period_of(*said))
    return found


def _counts_on(on: date, prefix: str = "") -> Q:
    """Return what holds of the one calibration of an instrument that counts on a day."""
    return Q(**{f"{prefix}calibrated_on__lte": on, f"{prefix}counts_until__gt": on})


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
    """Return the board as this viewer sees it: one query for the counts and, of a day that has passed, one for the
    states (some more where nobody kept until when each calibration counts), at most four for the rows looked at.

    `board` narrows the rows to one class; the counts are of all that `quantity` and `text` let through.
    """
    found = Instrument.objects.visible_to(viewer).matching(text).measuring(quantity)
    is_past = on < timezone.localdate()
    is_out = _was_out(on) if is_past else Q(state__in=_OUT)
    unkept = Q(latest_on__isnull=True)
    classed = _classed(found, is_out, _by_spans(on) if is_past else _as_it_stands(), on, horizon_days)
    counted = _counted(classed, unkept if is_past else unkept | _is_changed_after(on))
    are_spans_kept = not any(deeper for *_, deeper in counted) or not _must_be_looked_up(on, is_past)
    if not are_spans_kept:
        classed = _classed(found, _was_out(on), _looked_up(on), on, horizon_days)
        counted = _counted(classed, None)
    counts = {rank: count for rank, count, _ in counted}
    chips = tuple(
        BoardChip(name, words, BOARD_TONES[name], counts.get(_RANK[name], 0), name == board)
        for name, words in BOARD_WORDS.items()
    )
    shown = [chip for chip in chips if board in ("", chip.board)]
    chosen = classed.filter(rank=_RANK[shown[0].board]) if board else classed
    ordered = chosen.order_by("rank", F("due_then").asc(nulls_first=True), "identifier")
    count = sum(chip.count for chip in shown)
    rows = BoardRows(ordered, count, on, horizon_days, are_spans_kept=are_spans_kept, is_past=is_past)
    return Board(on, horizon_days, rows, chips)


def _classed(found: Any, is_out: Q, standing: dict[str, Any], on: date, horizon_days: int) -> Any:
    """Return the instruments with the rank of their class and their due day on a day, worked out by the database."""
    told = found.annotate(**standing)
    rank = Case(
        When(is_out, then=Value(_RANK["out_of_service"])),
        When(is_indicator=True, then=Value(_RANK["fine"])),
        When(due_then__gte=on + timedelta(days=horizon_days + 1), verdict_then=_GOOD, then=Value(_RANK["fine"])),
        When(due_then__gte=on, verdict_then=_GOOD, then=Value(_RANK["due_soon"])),
        default=Value(_RANK["overdue"]),
    )
    return told.annotate(rank=rank)


def _counted(classed: Any, deeper: Q | None) -> list[tuple[int, int, int]]:
    """Return for each rank how many there are, and 1 where some of them must be looked up row by row."""
    marked = Value(0) if deeper is None else Case(When(deeper, then=Value(1)), default=Value(0))
    rows = classed.order_by().values_list("rank").annotate(count=Count("pk"), deeper=Max(marked))
    return list(rows)


def _must_be_looked_up(on: date, is_past: bool) -> bool:
    """Say whether nobody kept what counts of an instrument that was calibrated, or a change is entered for later."""
    if Calibration.objects.filter(instrument__latest_on__isnull=True).exists():
        return True
    return not is_past and Instrument.objects.filter(_is_changed_after(on)).exists()


def _is_changed_after(on: date) -> Q:
    return Q(latest_on__gt=on) | Q(state_since__gt=on)


def _as_it_stands() -> dict[str, Any]:
    verdict = Case(When(latest_is_good=True, then=Value(_GOOD)), default=Value(""))
    return {"due_then": F("latest_due_on"), "verdict_then": verdict}


def _by_spans(on: date) -> dict[str, Any]:
    """Return the same of a day that has passed, from the calibration of each instrument that counted then."""
    return {
        "counting": FilteredRelation("calibrations", condition=_counts_on(on, "calibrations__")),
        "due_then": F("counting__due_on"),
        "verdict_then": F("counting__verdict"),
        "on_then": F("counting__calibrated_on"),
        "number_then": F("counting__certificate_number"),
    }


def _looked_up(on: date) -> dict[str, Any]:
    """Return the same from the calibrations themselves, where nobody has kept until when each counts."""
    counting = Calibration.objects.filter(instrument=OuterRef("pk"), calibrated_on__lte=on).counting_first()
    return {
        "due_then": Subquery(counting.values("due_on")[:1]),
        "verdict_then": Subquery(counting.values("verdict")[:1]),
    }


def _was_out(on: date) -> Q:
    """Return what holds of an instrument that was out of service on a day: one query for those that changed since."""
    moved = StateChange.objects.filter(instrument__state_since__gt=on, on__lte=on).order_by()
    last: dict[int, tuple[Any, int, str]] = {}
    for key, at, state, reason in moved.values_list("instrument_id", "at", "state", "reason"):
        # The last one counts; of several at one moment the worst, as for the answer of one instrument.
        last[key] = max(last.get(key, (at, -len(_WORST_FIRST), "")), (at, -_WORST_FIRST.index(state), reason))
    out = [key for key, (_, rank, _) in last.items() if _WORST_FIRST[-rank] in _OUT]
    return Q(pk__in=out) | (Q(state__in=_OUT) & (Q(state_since__isnull=True) | Q(state_since__lte=on)))


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
