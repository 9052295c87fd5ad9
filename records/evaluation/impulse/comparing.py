"""A full impulse against a reduced one: the greatest difference after both are scaled and laid together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar

from records.evaluation.impulse.recorded import Recorded
from records.readers.recording import Samples

_BLOCK_US = 0.05  # both curves are averaged over this time, so that noise of single samples is not the difference
_SEARCH_US = 0.3  # by how much the two may have to be shifted against each other
_POINTS = 2000


@dataclass(frozen=True)
class Difference:
    """The greatest normalised difference [%], what noise alone can make of it (standard [%]), and when it was [µs]."""

    greatest_pct: float
    noise_pct: float
    at_us: float


@dataclass(frozen=True)
class Trace:
    """One curve to be compared: times [µs] from the impulse's virtual origin, values [any unit], and their noise."""

    time_us: Samples
    values: Samples
    noise: float
    scale: float


def trace_of(recorded: Recorded, origin_us: float, test_voltage_kv: float) -> Trace:
    """Return the voltage of an impulse as a trace that is scaled by its test voltage [kV]."""
    last = len(recorded.values_kv) if recorded.chopped is None else recorded.chopped + 1
    times = recorded.time_us[:last] - origin_us
    return Trace(times, recorded.values_kv[:last], recorded.noise_kv, test_voltage_kv)


def current_trace(recorded: Recorded, current_a: Samples, origin_us: float, test_voltage_kv: float) -> Trace:
    """Return the current of an impulse [A] as a trace, its level before the impulse taken off.

    Scaled by the test voltage, so that a current that grows with the voltage shows no difference.
    """
    times = recorded.time_us - origin_us
    before = current_a[times < -1.0]
    level = float(before.mean()) if len(before) else 0.0
    noise = float(before.std()) if len(before) > 1 else 0.0
    return Trace(times, recorded.sign * (current_a - level), noise, test_voltage_kv)


def compare(one: Trace, other: Trace) -> Difference:
    """Return the greatest difference of two traces, each divided by its scale, relative to the crest of the first.

    Parameters
    ----------
    one, other : Trace
        With even times [µs].

    Returns
    -------
    Difference
        Frozen.

    Notes
    -----
    The second trace is shifted by at most 0.3 µs to where the sum of squared differences is least: the virtual
    origins carry noise of their own. Common practice, no source.
    """
    first, last = max(one.time_us[0], other.time_us[0]) + _SEARCH_US, min(one.time_us[-1], other.time_us[-1])
    fine = np.union1d(
        np.linspace(first, last - _SEARCH_US, _POINTS + 1),
        np.arange(max(first, -0.5), min(8.0, last - _SEARCH_US), _BLOCK_US),
    )
    here = _averaged(one, fine) / one.scale

    def squares(shift_us: float) -> float:
        return float(np.sum((here - _averaged(other, fine + shift_us) / other.scale) ** 2))

    bounds = (-_SEARCH_US, _SEARCH_US)
    shift = float(minimize_scalar(squares, bounds=bounds, method="bounded", options={"xatol": 1e-4}).x)
    away = np.abs(here - _averaged(other, fine + shift) / other.scale)
    top = float(np.abs(here).max())
    place = int(away.argmax())
    averaged = [np.sqrt(min(1.0, _interval(trace) / _BLOCK_US)) * trace.noise / trace.scale for trace in (one, other)]
    noise = float(np.hypot(*averaged)) / top
    return Difference(100 * float(away[place]) / top, 100 * noise, float(fine[place]))


def _interval(trace: Trace) -> float:
    return float(trace.time_us[1] - trace.time_us[0])


def _averaged(trace: Trace, time_us: Samples) -> Samples:
    """Return a trace's mean over 0.05 µs around each time, by its running sum."""
    interval = _interval(trace)
    half = max(_BLOCK_US, interval) / 2
    total = np.concatenate([[0.0], np.cumsum((trace.values[1:] + trace.values[:-1]) / 2) * interval])
    ends = np.interp(time_us + half, trace.time_us, total) - np.interp(time_us - half, trace.time_us, total)
    mean: Samples = ends / (2 * half)
    return mean
