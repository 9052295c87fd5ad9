"""The corrections that an instrument's calibration carries into a set-up, and what they add to the uncertainty."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, Literal

import numpy as np

from equipment.metrology.corrections import (
    CorrectionCurve,
    CorrectionLine,
    CorrectionPoint,
    correction_curve,
    correction_line,
)
from records.readers.recording import Samples
from records.readers.units import UNITS, factor_to, offset_to

Use = Literal["applied", "not_applied"]
USES: tuple[Use, ...] = ("applied", "not_applied")
METHODS = ("interpolated", "line")
_KEYS = frozenset({"use", "unit", "method", "points", "certificate", "channel", "valid_from", "valid_to"})
_TABLE = Path(__file__).with_name("corrected.toml")


@dataclass(frozen=True)
class Corrected:
    """A row of ``corrected.toml``: what corrects a channel, and which findings are readings of it or rest on it.

    `is_signed`: readings below zero are of their own; `leaves_out`: those beyond the range are left out of what rests.
    """

    channel: str
    instruments: tuple[str, ...]
    named: str
    reads: tuple[str, ...]
    rests: tuple[str, ...]
    is_signed: bool = False
    leaves_out: bool = False


@cache
def corrected_channels() -> Mapping[str, Corrected]:
    """Return the channels that a calibration can correct, by name with unit."""
    table = tomllib.loads(_TABLE.read_text(encoding="utf-8"))
    return {
        name: Corrected(
            name,
            tuple(row["instruments"]),
            row["named"],
            tuple(row["reads"]),
            tuple(row["rests"]),
            row.get("is_signed", False),
            row.get("leaves_out", False),
        )
        for name, row in table.items()
    }


@dataclass(frozen=True)
class Corrections:
    """Corrections of one calibration in one unit.

    Attributes
    ----------
    curve : CorrectionCurve or CorrectionLine
        Over readings [unit].
    use : str
        ``applied`` to the readings, or ``not_applied`` and then part of the uncertainty.
    unit : str
        Of readings and corrections.
    certificate : str
        Number of the calibration certificate.
    channel : str
        The one channel that they are for; empty: every one of the instrument's quantity that has such a unit.
    """

    curve: CorrectionCurve | CorrectionLine
    use: Use
    unit: str
    certificate: str = ""
    channel: str = ""

    def fits(self, row: Corrected, quantity: str | None) -> bool:
        """Tell whether they correct a channel, where their instrument measures a quantity."""
        is_named = self.channel in ("", row.channel)
        return is_named and quantity in row.instruments and factor_to(row.channel, self.unit or "1") is not None


def parse_corrections(content: Any) -> tuple[Corrections, ...]:
    """Return the corrections that one instrument of a set-up carries: one object, or a list with one for each unit.

    Raises
    ------
    ValueError
        A key has a value that cannot be; the key and the mend are named.
    """
    rows = [content] if isinstance(content, Mapping) else content
    if not isinstance(rows, list | tuple) or not all(isinstance(row, Mapping) for row in rows):
        raise ValueError("must be an object with use, unit and points, or a list of them.")
    return tuple(_parsed(row) for row in rows)


def _parsed(row: Mapping[str, Any]) -> Corrections:
    unknown = sorted(set(row) - _KEYS)
    if unknown:
        raise ValueError(f"{unknown[0]}: is not known; use {', '.join(sorted(_KEYS))}.")
    use = next((known for known in USES if known == row.get("use")), None)
    if use is None:
        raise ValueError(f"use: “{row.get('use')}” must be applied or not_applied.")
    unit, channel = row.get("unit"), row.get("channel", "")
    if not isinstance(unit, str) or not isinstance(channel, str):
        raise ValueError("unit: is missing; state the unit of the readings, as kV.")
    if channel and channel not in corrected_channels():
        raise ValueError(f"channel: “{channel}” cannot be corrected; use {', '.join(corrected_channels())}.")
    method = row.get("method", "interpolated")
    if method not in METHODS:
        raise ValueError(f"method: “{method}” must be interpolated or line.")
    return Corrections(_curve(row, method), use, unit, str(row.get("certificate", "")), channel)


def _curve(row: Mapping[str, Any], method: str) -> CorrectionCurve | CorrectionLine:
    given = row.get("points")
    if not isinstance(given, list | tuple) or not given:
        raise ValueError("points: must be a list with at least one point.")
    points = [_point(point, f"points[{place}]") for place, point in enumerate(given)]
    ends = {name: _number(row[name], name) for name in ("valid_from", "valid_to") if row.get(name) is not None}
    if method == "interpolated":
        return correction_curve(points, **ends)
    if ends:
        raise ValueError("valid_from and valid_to: a straight line holds between its points; remove them.")
    return correction_line(points)


def _point(row: Any, place: str) -> CorrectionPoint:
    if not isinstance(row, Mapping):
        raise ValueError(f"{place}: must be an object with reading, correction and expanded_uncertainty.")
    reading, correction, uncertainty = (
        _number(row.get(name), f"{place}.{name}") for name in ("reading", "correction", "expanded_uncertainty")
    )
    factor = _number(row.get("coverage_factor", 2.0), f"{place}.coverage_factor")
    return CorrectionPoint(reading, correction, uncertainty, factor)


def _number(value: Any, place: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{place}: “{value}” is not a finite number; state one.")
    return float(value)


@dataclass(frozen=True)
class Acting:
    """Corrections that act on one channel; readings, values and uncertainties are in the channel's own unit.

    Attributes
    ----------
    row : Corrected
        The channel with the findings that hang on it.
    instrument : str
        Name of the instrument.
    corrections : Corrections
        With their own unit.
    left : ndarray (n,)
        Readings beyond the calibrated range, which stay as they are.
    lost_resolution : float
        The part of the readings' resolution that can no longer be seen once they are corrected [unit of the channel].
    """

    row: Corrected
    instrument: str
    corrections: Corrections
    left: Samples = field(default_factory=lambda: np.zeros(0), compare=False)
    lost_resolution: float = 0.0

    @property
    def is_applied(self) -> bool:
        """Whether the readings are corrected."""
        return self.corrections.use == "applied"

    @property
    def unit(self) -> str:
        """Return the symbol of the channel's unit."""
        return UNITS.get(self.row.channel, "").removeprefix("1")

    @property
    def _factor(self) -> float:
        return factor_to(self.row.channel, self.corrections.unit or "1") or 1.0

    @property
    def _offset(self) -> float:
        return offset_to(self.row.channel, self.corrections.unit)

    def corrections_at(self, readings: Any) -> Samples:
        """Return the correction of each reading, shape (n,), by size and against its sign; NaN beyond the range."""
        given = np.asarray(readings, dtype=float)
        if self.row.is_signed:
            return self._factor * self.corrections.curve.corrections_at((given - self._offset) / self._factor)
        return np.sign(given) * self._factor * self.corrections.curve.corrections_at(np.abs(given) / self._factor)

    def reading_of(self, value: float) -> float:
        """Return the reading that was corrected to a value; the value itself where nothing is applied."""
        if not self.is_applied:
            return value
        return self._factor * self.corrections.curve.reading_of((value - self._offset) / self._factor) + self._offset

    @property
    def range_in_words(self) -> str:
        """Return the calibrated range with unit."""
        low, high = self._ends
        return f"{low:.6g} to {high:.6g} {self.unit}".rstrip()

    @property
    def _ends(self) -> tuple[float, float]:
        curve = self.corrections.curve
        return curve.valid_from * self._factor + self._offset, curve.valid_to * self._factor + self._offset

    def knows(self, value: float) -> bool:
        """Tell whether a value, corrected or as read, comes from a reading within the calibrated range."""
        if not math.isfinite(value):
            return False
        low, high = self._ends
        slack = 1e-9 * max(abs(low), abs(high))
        if not self.is_applied:
            return low - slack <= value <= high + slack
        shifts = self.corrections_at([low, high])
        bottom, top = low + float(shifts[0]), high + float(shifts[1])
        if not bottom - slack <= value <= top + slack:
            return False
        # A reading beyond the range stays as it is, so just beyond an end it may look like a corrected one.
        above, below = self.left[self.left > high], self.left[self.left < low]
        is_hidden = (value > high and (above <= top).any()) or (value < low and (below >= bottom).any())
        return not is_hidden

    def standard_uncertainty(self, value: float, stated: float) -> float:
        """Return what the instrument adds to the uncertainty of one value.

        Parameters
        ----------
        value : float
            Corrected, or as read where nothing is applied [unit of the channel].
        stated : float
            Standard uncertainty that the calibration states as a whole [same unit].

        Returns
        -------
        float
            Where the corrections are applied, that of the curve at the reading and the lost resolution; where they
            are not, √(stated² + c²) with the correction c that was left out; beyond the calibrated range the stated
            one [same unit].

        References
        ----------
        A correction that is not applied as a standard uncertainty of its own size: S. D. Phillips, K. R. Eberhardt,
        B. Parry, J. Res. NIST 102 (1997), 577 (from memory).
        """
        reading = self.reading_of(value if self.row.is_signed else abs(value))
        correction = float(self.corrections_at([reading])[0])
        if math.isnan(correction):
            return stated
        if not self.is_applied:
            return math.hypot(stated, correction)
        inside = (reading - self._offset) / self._factor
        ends = self.corrections.curve
        inside = min(max(inside, ends.valid_from), ends.valid_to)  # rounding of a unit's factor
        return math.hypot(self._factor * ends.apply(inside).standard_uncertainty, self.lost_resolution / math.sqrt(12))

    def relative_standard_uncertainty(self, stated: float) -> float:
        """Return the greatest relative standard uncertainty over the points, where no value is known, dimensionless."""
        shares = []
        for point in self.corrections.curve.points:
            size = abs(point.reading + (point.correction if self.is_applied else 0.0))
            if size:
                own = point.expanded_uncertainty / point.coverage_factor / size
                shares.append(own if self.is_applied else math.hypot(stated, point.correction / size))
        return max(shares, default=stated)
