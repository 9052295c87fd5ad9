"""What is odd about arrays that could be read: gaps, clipping, a frequency that is not the one declared."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from records.readers.recording import Samples

_GAP = 5.0  # times the usual interval: what is reported as a gap
_REGULAR = 0.01  # steps this close to the usual one, relative, are regular
_MOST_FOR_MEDIAN = 500_000
_PART = 1 << 18
_MOST_FOR_SPECTRUM = 1 << 18
_LEAST_PERIODS = 4
_FREQUENCY_TOLERANCE = 0.02
_FIRST_YEAR, _LAST_YEAR = 1980, 2100
_WAVES = ("voltage_kv", "current_a", "current_ma")

_FREQUENCY_KEYS = frozenset(
    ("frequency", "test frequency", "nominal frequency", "line frequency", "mains frequency", "power frequency")
)
_RATE_KEYS = frozenset(("sample rate", "sampling rate", "sampling frequency", "samples per second", "fs"))
_INTERVAL_KEYS = frozenset(("sample interval", "sampling interval", "sampling time", "time step", "dt", "delta t"))
_SCALES = {"": 1.0, "k": 1e3, "M": 1e6, "G": 1e9, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "n": 1e-9}
_RATE = re.compile(r"^([0-9.]+(?:[eE][+-]?\d+)?)\s*([kMG]?)(?:Hz|S/s|Sa/s|s/s)?$")
_INTERVAL = re.compile(r"^([0-9.]+(?:[eE][+-]?\d+)?)\s*([munµμ]?)s$")


@dataclass(frozen=True)
class Declared:
    """What a file says about itself: frequency of the wave [Hz] and samples a second [1/s], None where it is silent."""

    frequency_hz: float | None = None
    rate_per_s: float | None = None


def declared_in(metadata: Mapping[str, str]) -> Declared:
    """Return what pairs such as ``Frequency: 50 Hz`` or ``Sample rate: 10 kS/s`` declare; a unit list, not a guess."""
    frequency = rate = None
    for key, value in metadata.items():
        name = re.sub(r"[\s_\-.]+", " ", key).strip().casefold()
        if name in _FREQUENCY_KEYS:
            frequency = _scaled(_RATE.match(value.strip()))
        elif name in _RATE_KEYS:
            rate = _scaled(_RATE.match(value.strip()))
        elif name in _INTERVAL_KEYS:
            interval = _scaled(_INTERVAL.match(value.strip()))
            rate = 1 / interval if interval else None
    return Declared(frequency, rate)


def _scaled(match: re.Match[str] | None) -> float | None:
    try:
        value = float(match[1]) * _SCALES[match[2]] if match else 0.0
    except ValueError:
        return None
    return value if 0 < value < 1e15 else None


@dataclass(frozen=True)
class Steps:
    """Intervals of a record in a few numbers.

    Attributes
    ----------
    usual_s, least_s, longest_s : float
        Median (of every n-th where there are very many), smallest and greatest interval [s]; 0 where there are none.
    equal : int
        Intervals of 0.
    falls_at : int
        First sample that is earlier than the one before it; 0 where none is.
    """

    usual_s: float = 0.0
    least_s: float = 0.0
    longest_s: float = 0.0
    equal: int = 0
    falls_at: int = 0


def steps_of(time_s: Samples) -> Steps:
    """Return the intervals of a record, looked at in parts, so that a long record needs no second array as long."""
    if len(time_s) < 2:
        return Steps()
    every = max(1, (len(time_s) - 1) // _MOST_FOR_MEDIAN)
    usual = float(np.median(time_s[1::every] - time_s[:-1:every]))
    least, longest, equal, falls = np.inf, -np.inf, 0, 0
    for start in range(0, len(time_s) - 1, _PART):
        part = np.diff(time_s[start : start + _PART + 1])
        lowest = float(part.min())
        if lowest < 0 and not falls:
            falls = start + int(np.argmax(part < 0)) + 1
        if lowest <= 0:
            equal += len(part) - int(np.count_nonzero(part))
        least, longest = min(least, lowest), max(longest, float(part.max()))
    return Steps(usual, least, longest, equal, falls)


def usual_step(steps: Samples) -> float:
    """Return the usual interval [s]: the median of the steps."""
    return float(np.median(steps)) if len(steps) else 0.0


def of_sampling(time_s: Samples, intervals: Steps, declared: Declared) -> list[str]:
    """Return sentences on equal times, gaps, dropped samples and a sampling rate other than the one declared.

    Parameters
    ----------
    time_s : ndarray (n,)
        Times [s], never falling.
    intervals : Steps
        Their differences.
    declared : Declared
        What the file says.

    Returns
    -------
    list of str
        Empty where nothing is odd.
    """
    said = []
    if intervals.equal:
        said.append(f"{intervals.equal} rows carry the same time as the row before them.")
    usual = intervals.usual_s
    if usual <= 0:
        return said
    steps = np.diff(time_s) if intervals.longest_s > 1.5 * usual else time_s[:0]
    if intervals.longest_s > _GAP * usual:
        where = int(np.argmax(steps))
        gaps = int((steps > _GAP * usual).sum())
        said.append(
            f"{gaps} gaps in the samples; the longest is {intervals.longest_s:.4g} s after "
            f"{time_s[where]:.6g} s, where the usual interval is {usual:.4g} s."
        )
    if len(steps):
        said.extend(_dropped(time_s, steps, usual))
    if declared.rate_per_s and abs(usual * declared.rate_per_s - 1) > _REGULAR:
        said.append(
            f"The file declares {declared.rate_per_s:.6g} samples a second; its times are {usual:.4g} s apart, which "
            f"is {1 / usual:.6g} a second. The times were used."
        )
    return said


def _dropped(time_s: Samples, steps: Samples, usual: float) -> list[str]:
    """Return a sentence on samples that are missing from a record that is regular otherwise."""
    jumps = np.flatnonzero(steps > 1.5 * usual)
    regular = np.count_nonzero(np.abs(steps - usual) <= _REGULAR * usual)
    if len(jumps) > 0.05 * len(steps) or regular < 0.9 * (len(steps) - len(jumps)):
        return []
    missing = int(np.rint(steps[jumps] / usual - 1).sum())
    return [f"About {missing} samples are missing at {len(jumps)} places, the first after {time_s[jumps[0]]:.6g} s."]


def of_waves(time_s: Samples, channels: Mapping[str, Samples], declared: Declared, is_impulse: bool) -> list[str]:
    """Return sentences on a frequency other than the one declared, and on waves whose crests are cut off.

    Parameters
    ----------
    time_s : ndarray (n,)
        Times [s].
    channels : mapping of str to ndarray (n,)
        Voltages and currents are looked at.
    declared : Declared
        What the file says.
    is_impulse : bool
        Whether a wave without change of sign is one too; a trend of r.m.s. values stands still without being cut.

    Returns
    -------
    list of str
        Empty where nothing is odd.
    """
    said = []
    for name in _WAVES:
        if name not in channels or len(time_s) < 8:
            continue
        values = channels[name]
        low, high = float(values.min()), float(values.max())
        is_alternating = min(high, -low) > 0.2 * max(high, -low)
        if is_alternating and declared.frequency_hz:
            said.extend(_other_frequency(time_s, values, declared.frequency_hz, name))
        if is_alternating or is_impulse:
            said.extend(_clipped(time_s, values, name))
    return said


def found_frequency_hz(time_s: Samples, values: Samples) -> float | None:
    """Return the frequency of the strongest component of an evenly sampled wave, or None where none can be told.

    Parameters
    ----------
    time_s, values : ndarray (n,)
        Times [s] and samples [any unit].

    Returns
    -------
    float or None
        Frequency [Hz], by the crest of the spectrum under a Hann window, interpolated through three lines.
    """
    time_s, values = time_s[:_MOST_FOR_SPECTRUM], values[:_MOST_FOR_SPECTRUM]
    steps = np.diff(time_s)
    usual = usual_step(steps)
    if usual <= 0 or np.abs(steps - usual).max() > 0.05 * usual:
        return None
    centred = values - values.mean()
    spectrum = np.abs(np.fft.rfft(centred * np.hanning(len(centred))))
    place = int(np.argmax(spectrum))
    if not 0 < place < len(spectrum) - 1 or spectrum[place] <= 0:
        return None
    left, top, right = np.log(np.maximum(spectrum[place - 1 : place + 2], 1e-300))
    bend = left - 2 * top + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float((place + shift) / (len(centred) * usual))


def _other_frequency(time_s: Samples, values: Samples, declared_hz: float, name: str) -> list[str]:
    duration = float(time_s[min(len(time_s), _MOST_FOR_SPECTRUM) - 1] - time_s[0])
    found = found_frequency_hz(time_s, values)
    if found is None or found * duration < _LEAST_PERIODS:
        return []
    if abs(found - declared_hz) <= max(_FREQUENCY_TOLERANCE * declared_hz, 0.5 / duration):
        return []
    return [f"The file declares {declared_hz:.4g} Hz; {name} has {found:.4g} Hz."]


@dataclass(frozen=True)
class CutCrests:
    """Where a wave is cut off: at which value, how many crests stand still there, and the first sample that does."""

    at: float
    count: int
    first: int


def cut_crests(values: Samples) -> CutCrests | None:
    """Return where a wave rises steeply to one and the same greatest or least value and stays there; None if nowhere.

    A crest that is only coarsely quantised is reached by a step of one digit; a cut one by a larger step.

    Parameters
    ----------
    values : ndarray (n,)
        Samples of the wave [any unit].
    """
    digit = float(np.min(np.abs(np.diff(np.unique(values[:20_000]))), initial=np.inf))
    for end in (float(values.min()), float(values.max())):
        at_end = np.concatenate(([False], values == end, [False]))
        edges = np.flatnonzero(at_end[1:] != at_end[:-1])
        starts, stops = edges[::2], edges[1::2]
        long = (stops - starts >= 4) & (starts > 0) & (stops < len(values))
        if not long.any():
            continue
        step = np.abs(end - values[starts[long] - 1])
        cut = step > 2.5 * digit
        if cut.any():
            return CutCrests(end, int(cut.sum()), int(starts[long][cut][0]))
    return None


def _clipped(time_s: Samples, values: Samples, name: str) -> list[str]:
    cut = cut_crests(values)
    if cut is None:
        return []
    return [
        f"{name} is cut off at {cut.at:.6g}: {cut.count} crests stand still there, the first at "
        f"{time_s[cut.first]:.6g} s. Measure with a greater range."
    ]


def of_dates(start: datetime | None, trigger: datetime | None, duration_s: float) -> list[str]:
    """Return sentences on dates that cannot be: before recorders were, or a trigger outside the record.

    Parameters
    ----------
    start, trigger : datetime or None
        Time of the first sample and of the trigger, without zone; None where the file states none.
    duration_s : float
        Length of the record [s].

    Returns
    -------
    list of str
        Empty where nothing is odd.
    """
    said = [
        f"The date of the {what}, {moment:%d %b %Y}, cannot be: the recorder's clock was not set."
        for what, moment in (("first sample", start), ("trigger", trigger))
        if moment is not None and not _FIRST_YEAR <= moment.year <= _LAST_YEAR
    ]
    if start and trigger and not said:
        late = timedelta(seconds=min(max(duration_s, 0.0), 1e9))
        if not start - timedelta(seconds=1) <= trigger <= start + late + timedelta(seconds=1):
            said.append(
                f"The trigger at {trigger.isoformat(sep=' ')} lies outside the record, which begins at "
                f"{start.isoformat(sep=' ')} and lasts {duration_s:.4g} s."
            )
    return said
