"""What a picture of a record shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from records.readers.recording import Samples


@dataclass(frozen=True)
class Band:
    """A set-point band of the plan over the time at which the record held it: name, level, edges [kV], times [s]."""

    title: str
    level_kv: float
    low_kv: float
    high_kv: float
    start_s: float | None
    end_s: float | None
    held_s: float | None


@dataclass(frozen=True)
class Mark:
    """Something found in the record: words, time [s], voltage [kV]."""

    title: str
    time_s: float
    voltage_kv: float


@dataclass(frozen=True)
class Picture:
    """What a picture shows: samples, bands of the plan, limit of the charge [pC], found events.

    Charge has times of its own where it is a list of pulses and not sampled with the voltage.
    """

    time_s: Samples
    voltage_kv: Samples
    charge_pc: Samples | None = None
    bands: Sequence[Band] = ()
    limit_pc: float | None = None
    marks: Sequence[Mark] = ()
    words: str = ""
    charge_time_s: Samples | None = None

    @property
    def charge_times(self) -> Samples:
        """Return the times of the charge [s]."""
        return self.time_s if self.charge_time_s is None else self.charge_time_s

    @property
    def span(self) -> tuple[float, float]:
        """Return first and last time [s], of the voltage or of the charge."""
        times = [self.time_s, *([self.charge_times] if len(self.charge_times) else [])]
        return min(float(one[0]) for one in times), max(float(one[-1]) for one in times)

    def window(self, first: str | None, last: str | None) -> tuple[float, float] | None:
        """Return the window of times [s] that a reader asked for, cut to the record; None where he asked for none.

        Raises ValueError where the two are no times in order.
        """
        if not first and not last:
            return None
        begins, ends = float(first or ""), float(last or "")
        low, high = max(begins, self.span[0]), min(ends, self.span[1])
        if not low < high:
            raise ValueError("The window lies outside the record.")
        return low, high

    @property
    def top_kv(self) -> float:
        """Return the upper end of the voltage axis [kV]."""
        return 1.12 * max([float(self.voltage_kv.max(initial=0.0)), *(band.high_kv for band in self.bands)])

    @property
    def top_pc(self) -> float:
        """Return the upper end of the charge axis [pC]."""
        most = float(self.charge_pc.max(initial=0.0)) if self.charge_pc is not None else 0.0
        return 1.25 * max(most, self.limit_pc or 0.0, 1.0)


def band_words(band: Band) -> str:
    """Return a stage in words: what the plan asks, and how long the record held it."""
    held = f", held {band.held_s:.4g} s" if band.held_s is not None else ", not found"
    return f"{band.title} {band.level_kv:.4g} kV{held}"


def mark_words(mark: Mark) -> str:
    """Return a found event in words."""
    return f"{mark.title} {mark.voltage_kv:.3g} kV"


def fallback(value: float | None, other: float) -> float:
    """Return the value, or the other where there is none."""
    return other if value is None else value
