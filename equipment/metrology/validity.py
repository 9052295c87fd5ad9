"""Whether an instrument was in calibration on a day, and how soon it is due."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import zip_longest
from typing import Literal

StatusCode = Literal[
    "valid",
    "not_required",
    "expired",
    "never_calibrated",
    "calibrated_later",
    "failed_calibration",
    "quarantined",
    "in_repair",
    "in_calibration",
    "retired",
    "outside_range",
    "not_assigned",
    "recalibrated_since",
]
OutOfServiceKind = Literal["quarantined", "in_repair", "in_calibration", "retired"]
BoardClass = Literal["overdue", "due_soon", "fine", "out_of_service"]

_OUT_OF_SERVICE_WORDS = {
    "quarantined": "The instrument is quarantined",
    "in_repair": "The instrument is being repaired",
    "in_calibration": "The instrument is away for calibration",
    "retired": "The instrument is retired",
}
_BY_SEVERITY: tuple[OutOfServiceKind, ...] = ("retired", "quarantined", "in_repair", "in_calibration")


@dataclass(frozen=True)
class CalibrationPeriod:
    """One calibration: the day it was performed, the last day it covers, and whether the instrument may be used on it.

    ``passed`` is False where the instrument as left was unfit for use. Raises ValueError where due precedes performed.
    """

    performed_on: date
    due_on: date
    passed: bool = True
    reference: str = ""

    def __post_init__(self) -> None:
        if self.due_on < self.performed_on:
            raise ValueError(f"Due {self.due_on} lies before the calibration of {self.performed_on}.")


@dataclass(frozen=True)
class OutOfService:
    """Days on which the instrument may not be used: from ``since`` on, until the day ``until`` it came back (or open).

    Raises ValueError where the end precedes the beginning.
    """

    kind: OutOfServiceKind
    since: date
    until: date | None = None
    reason: str = ""

    def __post_init__(self) -> None:
        if self.until is not None and self.until < self.since:
            raise ValueError(f"Back in service {self.until} lies before {self.since}.")

    def covers(self, on: date) -> bool:
        """Tell whether the instrument was out of service on that day; the day it came back does not count."""
        return self.since <= on and (self.until is None or on < self.until)


@dataclass(frozen=True)
class StateFrom:
    """The instrument is in service (``kind`` None) or out of it from a moment on; ``at`` is a number of that moment."""

    at: float
    on: date
    kind: OutOfServiceKind | None
    reason: str = ""


def absences(changes: Sequence[StateFrom]) -> list[OutOfService]:
    """Return the days out of service that a series of state changes makes.

    The changes are taken in order of their moments, whatever the order they are given in; of several at one moment
    the worst counts. A day on which the instrument came back counts as in service, as in `OutOfService.covers`.

    Parameters
    ----------
    changes : sequence of StateFrom, shape (n,)
        In any order.

    Returns
    -------
    list of OutOfService
        In order of time, the last one open where the instrument is still out.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> away = StateFrom(1.0, date(2026, 3, 2), "quarantined", "fell")
    >>> back = StateFrom(2.0, date(2026, 3, 9), None)
    >>> [(gap.since.day, gap.until.day) for gap in absences([back, away])]
    [(2, 9)]
    """
    standing: dict[float, StateFrom] = {}
    for change in changes:
        known = standing.get(change.at)
        if known is None or _severity(change) < _severity(known):
            standing[change.at] = change
    ordered = [standing[at] for at in sorted(standing)]
    ends = [change.on for change in ordered[1:]]
    return [
        OutOfService(change.kind, change.on, until, change.reason)
        for change, until in zip_longest(ordered, ends)
        if change.kind is not None
    ]


def _severity(change: StateFrom) -> tuple[int, str]:
    rank = len(_BY_SEVERITY) if change.kind is None else _BY_SEVERITY.index(change.kind)
    return rank, change.reason


@dataclass(frozen=True)
class CalibrationStatus:
    """The answer for one instrument on one day.

    Attributes
    ----------
    is_valid : bool
        The instrument may be used for a measurement on that day.
    code : str
        Reason as a code: ``valid``, ``not_required``, ``expired``, ``never_calibrated``, ``calibrated_later``,
        ``failed_calibration``, ``quarantined``, ``in_repair``, ``in_calibration``, ``retired``, ``outside_range``,
        ``not_assigned``, ``recalibrated_since``.
    reason : str
        The same as a sentence.
    due_on : date or None
        Last day the calibration that counts covers.
    days_left : int or None
        Days from the day asked for to `due_on`; negative when overdue [d].
    calibration : CalibrationPeriod or None
        The calibration that counts on that day.
    """

    is_valid: bool
    code: StatusCode
    reason: str
    due_on: date | None = None
    days_left: int | None = None
    calibration: CalibrationPeriod | None = None


def calibration_status(
    calibrations: Sequence[CalibrationPeriod],
    on: date,
    *,
    out_of_service: Sequence[OutOfService] = (),
    needs_calibration: bool = True,
) -> CalibrationStatus:
    """Answer whether an instrument was in calibration on a day.

    The latest calibration performed on or before the day counts; it covers its due day. Of several on one day a failed
    one counts before a passed one, and then the one that is due first. A later calibration never makes an earlier day
    valid. Being out of service outweighs everything else.

    Parameters
    ----------
    calibrations : sequence of CalibrationPeriod, shape (n,)
        In any order.
    on : date
        The day asked for.
    out_of_service : sequence of OutOfService, shape (m,)
        Quarantine, repair and retirement, in any order.
    needs_calibration : bool
        False for what is used as an indicator only.

    Returns
    -------
    CalibrationStatus
        Frozen; `CalibrationStatus.days_left` in days.

    References
    ----------
    ISO/IEC 17025:2017, 6.4.4, 6.4.7 to 6.4.9 and 6.4.13 (from memory). That the due day itself is still covered:
    common practice, no source.

    Examples
    --------
    >>> year = CalibrationPeriod(date(2025, 3, 1), date(2026, 2, 28))
    >>> calibration_status([year], date(2026, 2, 28)).days_left
    0
    >>> calibration_status([year], date(2026, 3, 1)).code
    'expired'
    """
    counts = _calibration_that_counts(calibrations, on)
    due_on = counts.due_on if counts else None
    days_left = (due_on - on).days if due_on else None
    code, reason = _code_and_reason(calibrations, counts, on, out_of_service, needs_calibration)
    return CalibrationStatus(code in ("valid", "not_required"), code, reason, due_on, days_left, counts)


def _calibration_that_counts(calibrations: Sequence[CalibrationPeriod], on: date) -> CalibrationPeriod | None:
    done = [calibration for calibration in calibrations if calibration.performed_on <= on]
    latest = max((calibration.performed_on for calibration in done), default=None)
    same_day = [calibration for calibration in done if calibration.performed_on == latest]
    return min(same_day, key=lambda item: (item.passed, item.due_on, item.reference), default=None)


def _code_and_reason(
    calibrations: Sequence[CalibrationPeriod],
    counts: CalibrationPeriod | None,
    on: date,
    out_of_service: Sequence[OutOfService],
    needs_calibration: bool,
) -> tuple[StatusCode, str]:
    absent = [period for period in out_of_service if period.covers(on)]
    if absent:
        worst = min(absent, key=lambda period: (_BY_SEVERITY.index(period.kind), period.since, period.reason))
        why = f" ({worst.reason})" if worst.reason else ""
        return worst.kind, f"{_OUT_OF_SERVICE_WORDS[worst.kind]} since {in_words(worst.since)}{why}."
    if not needs_calibration:
        return "not_required", "The instrument is used as an indicator only and needs no calibration."
    if counts is None:
        if not calibrations:
            return "never_calibrated", "The instrument was never calibrated."
        first = min(calibration.performed_on for calibration in calibrations)
        return (
            "calibrated_later",
            f"The first calibration is of {in_words(first)}, after the day of use, {in_words(on)}.",
        )
    if not counts.passed:
        return (
            "failed_calibration",
            f"The calibration of {in_words(counts.performed_on)} found the instrument unfit for use.",
        )
    if counts.due_on < on:
        late = (on - counts.due_on).days
        return (
            "expired",
            f"The calibration ended on {in_words(counts.due_on)}, {late} {'day' if late == 1 else 'days'} before.",
        )
    return "valid", f"In calibration: performed {in_words(counts.performed_on)}, due {in_words(counts.due_on)}."


def in_words(day: date) -> str:
    """Return a day as people write it.

    Examples
    --------
    >>> in_words(date(2026, 3, 1))
    '1 Mar 2026'
    """
    return f"{day.day} {day:%b %Y}"


def board_class(status: CalibrationStatus, *, horizon_days: int = 60) -> BoardClass:
    """Sort a status into the quality manager's board.

    ``overdue``: needs a calibration before it may be used again (expired, never calibrated, calibrated only later, or
    failed); ``due_soon``: valid with at most `horizon_days` left; ``fine``; ``out_of_service``.

    Parameters
    ----------
    status : CalibrationStatus
        Of the day the board is read.
    horizon_days : int
        Length of the look ahead [d]; at least 0.

    Returns
    -------
    str
        One of the four classes.

    Raises
    ------
    ValueError
        The horizon is negative.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> year = CalibrationPeriod(date(2025, 3, 1), date(2026, 2, 28))
    >>> board_class(calibration_status([year], date(2026, 1, 31)))
    'due_soon'
    """
    if horizon_days < 0:
        raise ValueError("The horizon must be at least 0 days.")
    if status.code in _OUT_OF_SERVICE_WORDS:
        return "out_of_service"
    if not status.is_valid:
        return "overdue"
    if status.code == "valid" and status.days_left is not None and status.days_left <= horizon_days:
        return "due_soon"
    return "fine"
