"""What was read of a calibration, from a table of points: heads in words, one row a point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from .tables import Rows, TableRefused, number_of

MOST_POINTS = 500
# What a head may say, in small letters without signs; the first word of the quantity that fits counts.
_HEADS: Mapping[str, tuple[str, ...]] = {
    "moment": ("moment", "state", "as found left", "found left"),
    "unit": ("unit", "units"),
    "nominal": ("nominal", "nominal value", "set point"),
    "reference": ("reference", "reference value", "standard", "true value", "applied"),
    "reading": ("reading", "indication", "indicated", "indicated value", "measured", "instrument"),
    "correction": ("correction",),
    "error": ("error", "deviation", "measurement error"),
    "expanded_uncertainty": ("expanded uncertainty", "uncertainty", "u", "u k 2"),
    "coverage_factor": ("coverage factor", "k", "coverage"),
}
_MOMENT_WORDS = {
    **dict.fromkeys(("as found", "found", "before", "before adjustment"), "as_found"),
    **dict.fromkeys(("as left", "left", "after", "after adjustment"), "as_left"),
}
_NUMBERS = ("nominal", "reference", "reading", "correction", "error", "expanded_uncertainty", "coverage_factor")


@dataclass(frozen=True)
class ReadPoint:
    """One point as it was read; values in `unit`, the moment is as_found or as_left."""

    moment: str
    unit: str
    reference: float
    reading: float
    expanded_uncertainty: float
    coverage_factor: float = 2.0
    nominal: float | None = None


@dataclass(frozen=True)
class ReadCalibration:
    """What was read: the certificate's fields by the names of the calibration form, its points, and what is odd."""

    points: tuple[ReadPoint, ...]
    fields: Mapping[str, Any] = field(default_factory=dict)
    oddities: tuple[str, ...] = ()


def points_of_table(rows: Rows, *, unit: str = "", moment: str = "as_left") -> ReadCalibration:
    """Read calibration points from a table with a row of heads.

    A reading may be given itself or by the correction (reference − reading) or the error (reading − reference).

    Parameters
    ----------
    rows : list of list of str, shape (n, columns)
        The first row with a head for the reference and for the uncertainty is the row of heads.
    unit : str
        Unit of all points where the table has no column for it.
    moment : str
        as_found or as_left, where the table has no column for it.

    Returns
    -------
    ReadCalibration
        At most `MOST_POINTS` points; each oddity names its row.

    Raises
    ------
    TableRefused
        No row of heads, no point, a number that is none, a unit that is missing, or too many points.
    """
    place, columns = _heads(rows)
    points: list[ReadPoint] = []
    for number, row in enumerate(rows[place + 1 :], start=place + 2):
        if not any(row):
            continue
        if len(row) > len(rows[place]) and any(row[len(rows[place]) :]):
            raise TableRefused(
                f"Row {number} has more cells than there are heads; is a decimal comma taken for a separator?"
            )
        points.append(_point(row, columns, number, unit, moment))
        if len(points) > MOST_POINTS:
            raise TableRefused(f"The table has more than {MOST_POINTS} points.")
    if not points:
        raise TableRefused("The table has heads but no point below them.")
    return ReadCalibration(tuple(points), {}, _odd(points))


def _plain(head: str) -> str:
    base = head.split("[")[0].split("(")[0].split("/")[0]
    return " ".join("".join(sign if sign.isalnum() else " " for sign in base.lower()).split())


def _heads(rows: Rows) -> tuple[int, dict[str, int]]:
    for place, row in enumerate(rows[:30]):
        columns: dict[str, int] = {}
        for column, head in enumerate(row):
            name = next((name for name, words in _HEADS.items() if _plain(head) in words), None)
            if name is not None and name not in columns:
                columns[name] = column
        if "reference" in columns and "expanded_uncertainty" in columns:
            if not {"reading", "correction", "error"} & columns.keys():
                raise TableRefused("The table needs a column for the reading, the correction or the error.")
            return place, columns
    raise TableRefused(
        "No row of heads was found. The table needs the heads Reference, Reading (or Correction, or Error) and "
        "Uncertainty; Unit, Moment, Nominal and k may be there."
    )


def _point(row: Sequence[str], columns: Mapping[str, int], number: int, unit: str, moment: str) -> ReadPoint:
    def cell(name: str) -> str:
        column = columns.get(name)
        return row[column] if column is not None and column < len(row) else ""

    try:
        numbers = {name: number_of(cell(name)) for name in _NUMBERS}
    except ValueError as fault:
        raise TableRefused(f"Row {number}: {fault}") from fault
    reference, spread = numbers["reference"], numbers["expanded_uncertainty"]
    if reference is None or spread is None:
        raise TableRefused(f"Row {number} lacks its reference value or its uncertainty.")
    reading = _reading(reference, numbers, number)
    words = _plain(cell("moment"))
    if words and words not in _MOMENT_WORDS:
        raise TableRefused(f"Row {number}: “{cell('moment')}” is neither as found nor as left.")
    said_unit = cell("unit") or unit
    if not said_unit:
        raise TableRefused(f"Row {number} names no unit; give the unit of the points.")
    if len(said_unit) > 12:
        raise TableRefused(f"Row {number}: “{said_unit}” is no unit.")
    if spread <= 0:
        raise TableRefused(f"Row {number}: the expanded uncertainty must be above zero.")
    return ReadPoint(
        _MOMENT_WORDS.get(words, moment),
        said_unit,
        reference,
        reading,
        spread,
        numbers["coverage_factor"] or 2.0,
        numbers["nominal"],
    )


def _reading(reference: float, numbers: Mapping[str, float | None], number: int) -> float:
    ways = []
    if numbers["reading"] is not None:
        ways.append(numbers["reading"])
    if numbers["correction"] is not None:
        ways.append(reference - numbers["correction"])
    if numbers["error"] is not None:
        ways.append(reference + numbers["error"])
    if not ways:
        raise TableRefused(f"Row {number} lacks its reading, correction or error.")
    slack = 1e-6 * max(abs(reference), *(abs(way) for way in ways))
    if max(ways) - min(ways) > slack:
        raise TableRefused(
            f"Row {number}: reading, correction and error contradict each other ({', '.join(f'{w:g}' for w in ways)})."
        )
    return ways[0]


def _odd(points: Sequence[ReadPoint]) -> tuple[str, ...]:
    found = []
    for number, point in enumerate(points, start=1):
        if point.reference and abs(point.reading - point.reference) > 0.5 * abs(point.reference):
            found.append(
                f"Point {number} reads {point.reading:g} {point.unit} at {point.reference:g} {point.unit}; is it right?"
            )
    return tuple(found)
