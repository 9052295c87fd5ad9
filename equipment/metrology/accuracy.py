"""Whether a calibration found, and left, an instrument within the accuracy that the laboratory requires."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Finding = Literal["within", "doubtful", "outside", "not_stated"]
_WORST_FIRST: tuple[Finding, ...] = ("outside", "doubtful", "within")


@dataclass(frozen=True)
class RequiredAccuracy:
    """The largest permissible error over a range: a part of the reference value plus a constant.

    ``pct`` is in per cent of the reference value, ``absolute`` in the unit of the range, as are ``low`` and ``high``.
    Raises ValueError where both are missing or a number is not finite or below 0.
    """

    unit: str
    low: float
    high: float
    pct: float | None = None
    absolute: float | None = None

    def __post_init__(self) -> None:
        given = [number for number in (self.pct, self.absolute) if number is not None]
        if not given or not all(math.isfinite(number) and number >= 0 for number in given):
            raise ValueError("A required accuracy needs a finite number, at least 0, in per cent or in the unit.")
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low <= self.high):
            raise ValueError("The range of a required accuracy needs two finite ends in order.")

    def covers(self, reference: float, unit: str) -> bool:
        """Tell whether a reference value of that unit lies in the range, its ends included."""
        slack = 1e-9 * max(abs(self.low), abs(self.high))
        return unit == self.unit and self.low - slack <= reference <= self.high + slack

    def at(self, reference: float) -> float:
        """Return the largest permissible error at a reference value [unit of the range]."""
        return (self.pct or 0.0) / 100 * abs(reference) + (self.absolute or 0.0)


@dataclass(frozen=True)
class ErrorPoint:
    """One calibration point: error = reading − reference [unit], with its expanded uncertainty."""

    unit: str
    reference: float
    reading: float
    expanded_uncertainty: float

    @property
    def error(self) -> float:
        """Return reading − reference [unit]."""
        return self.reading - self.reference


@dataclass(frozen=True)
class JudgedPoint:
    """One point against the accuracy required: ``allowed`` is None where none is required at that value."""

    point: ErrorPoint
    allowed: float | None
    finding: Finding


@dataclass(frozen=True)
class AccuracyStatement:
    """The worst of the points, with each of them and the statement in words."""

    finding: Finding
    reason: str
    points: tuple[JudgedPoint, ...]


def judge_points(points: Sequence[ErrorPoint], required: Sequence[RequiredAccuracy]) -> AccuracyStatement:
    """Judge the points of a calibration against the accuracy required.

    A point is ``outside`` where |error| is above the permissible error, ``doubtful`` where it is not but
    |error| + U is, else ``within``. Where several ranges cover a point, the strictest counts.

    Parameters
    ----------
    points : sequence of ErrorPoint, shape (n,)
        Of one moment: as found or as left.
    required : sequence of RequiredAccuracy, shape (m,)
        What the laboratory requires, over one or more ranges.

    Returns
    -------
    AccuracyStatement
        ``not_stated`` where no point lies in a range with a required accuracy.

    References
    ----------
    ISO/IEC 17025:2017, 6.4.5 and 7.8.6 (from memory); simple acceptance with a doubtful zone of one U: ILAC-G8:09/2019
    (from memory).

    Examples
    --------
    >>> judge_points([ErrorPoint("kV", 50, 50.6, 0.1)], [RequiredAccuracy("kV", 0, 100, pct=1)]).finding
    'outside'
    """
    judged = tuple(_judged(point, required) for point in points)
    stated = [entry for entry in judged if entry.finding != "not_stated"]
    if not stated:
        why = "No point was given." if not points else "The laboratory requires no accuracy at these points."
        return AccuracyStatement("not_stated", why, judged)
    worst = min(stated, key=lambda entry: (_WORST_FIRST.index(entry.finding), -_use_of_limit(entry)))
    return AccuracyStatement(worst.finding, _in_words(worst), judged)


def _judged(point: ErrorPoint, required: Sequence[RequiredAccuracy]) -> JudgedPoint:
    limits = [rule.at(point.reference) for rule in required if rule.covers(point.reference, point.unit)]
    if not limits:
        return JudgedPoint(point, None, "not_stated")
    allowed = min(limits)
    size = abs(point.error)
    slack = 1e-12 * max(abs(point.reference), abs(point.reading), allowed)
    if size > allowed + slack:
        return JudgedPoint(point, allowed, "outside")
    is_doubtful = size + point.expanded_uncertainty > allowed + slack
    return JudgedPoint(point, allowed, "doubtful" if is_doubtful else "within")


def _use_of_limit(entry: JudgedPoint) -> float:
    return abs(entry.point.error) / entry.allowed if entry.allowed else math.inf


def _in_words(worst: JudgedPoint) -> str:
    point, allowed = worst.point, worst.allowed or 0.0
    said = (
        f"At {point.reference:.6g} {point.unit} the error is {point.error:+.4g} {point.unit}, "
        f"allowed are ±{allowed:.4g} {point.unit}"
    )
    if worst.finding == "doubtful":
        return f"{said}; with U = {point.expanded_uncertainty:.3g} {point.unit} it may lie beyond."
    return f"{said}."


@dataclass(frozen=True)
class ErrorCurve:
    """Errors of an instrument over its readings, linear between the points; their relative size holds beyond them."""

    unit: str
    readings: tuple[float, ...]
    errors: tuple[float, ...]

    def at(self, reading: float) -> float:
        """Return the error at a reading [unit]: what the reading has too much.

        Between two points it is interpolated. Beyond the outermost point its relative error is kept, since the scale
        factor is what an instrument of this kind is wrong by (common practice, no source).

        Raises
        ------
        ValueError
            The reading is not finite.
        """
        if not math.isfinite(reading):
            raise ValueError("The reading must be a finite number.")
        if reading <= self.readings[0]:
            return self._beyond(0, reading)
        if reading >= self.readings[-1]:
            return self._beyond(-1, reading)
        above = next(n for n, known in enumerate(self.readings) if known >= reading)
        low, high = self.readings[above - 1], self.readings[above]
        part = (reading - low) / (high - low)
        return self.errors[above - 1] + part * (self.errors[above] - self.errors[above - 1])

    def _beyond(self, end: int, reading: float) -> float:
        known, error = self.readings[end], self.errors[end]
        return error * reading / known if known else error


def error_curve(points: Sequence[ErrorPoint]) -> ErrorCurve:
    """Build the curve of errors over readings from points of one unit.

    Parameters
    ----------
    points : sequence of ErrorPoint, shape (n,)
        In any order; several at one reading are averaged.

    Returns
    -------
    ErrorCurve
        Frozen.

    Raises
    ------
    ValueError
        No point, or points of several units.

    Examples
    --------
    >>> error_curve([ErrorPoint("kV", 50, 51, 0.1), ErrorPoint("kV", 100, 102, 0.1)]).at(25.5)
    0.5
    """
    units = {point.unit for point in points}
    if len(units) != 1:
        raise ValueError("An error curve needs points, all of one unit.")
    at: dict[float, list[float]] = {}
    for point in points:
        at.setdefault(point.reading, []).append(point.error)
    readings = tuple(sorted(at))
    return ErrorCurve(units.pop(), readings, tuple(sum(at[key]) / len(at[key]) for key in readings))
