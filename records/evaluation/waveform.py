"""A power-frequency wave: its peaks as a trend, and whether its shape is that of a test voltage."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from records.evaluation.measured import resolution_of
from records.readers.plausibility import cut_crests
from records.readers.recording import Samples

LEAST_SAMPLES_A_PERIOD = 20
LOWEST_HZ = 10.0
_SIGN_SHARE = 0.2
_CLOSEST_S = 1e-12
_GAP_INTERVALS = 3.0
_CREST_DEG = 12.0
_HIGHEST_HARMONIC, _HARMONIC_PERIODS, _HARMONIC_PLACES = 40, 10, 3
_FFT_SAMPLES = 1 << 19
_LEAKED_LINES = 0.02
_NEIGHBOURS = 25  # periods
_LEAST_CUT = 3  # crests


class NotAWave(ValueError):
    """The samples do not show a wave that can be measured; the message says why."""


class WaveCutOff(NotAWave):
    """The crests of the wave are cut off at the edge of the recorder's range."""


@dataclass(frozen=True)
class WaveTrend:
    """The peaks of a wave, period by period.

    Attributes
    ----------
    time_s : ndarray (m,)
        Middle of each period [s].
    voltage_kv : ndarray (m,)
        Mean of both polarities' peaks, divided by √2 [kV]; a constant offset cancels.
    positive_kv, negative_kv : ndarray (m,)
        Peak of each polarity, both counted above 0 [kV].
    frequency_hz : float
        Of the strongest part [Hz].
    interval_s : float
        Length of a period as it was cut, in whole samples [s].
    """

    time_s: Samples
    voltage_kv: Samples
    positive_kv: Samples
    negative_kv: Samples
    frequency_hz: float
    interval_s: float


@dataclass(frozen=True)
class WaveShape:
    """Shape of a wave over one stretch, as a rule over a hold.

    Attributes
    ----------
    frequency_hz : float
        Fundamental [Hz].
    crest_factor : float
        Mean of both peaks over the true r.m.s. value, dimensionless.
    polarity_difference_pct : float
        Difference of the two polarities' peaks relative to their mean [%].
    total_harmonic_distortion_pct : float
        Root of the sum of squares of the 2nd to the 40th harmonic (or as far as the samples reach) relative to the
        fundamental [%].
    periods : float
        Number of periods looked at.
    uncertainties : mapping of str to float
        Standard uncertainty of each of the four from noise and resolution of the samples, in its unit.
    """

    frequency_hz: float
    crest_factor: float
    polarity_difference_pct: float
    total_harmonic_distortion_pct: float
    periods: float
    uncertainties: Mapping[str, float]


def changes_sign(voltage_kv: Samples) -> bool:
    """Return whether a voltage is a wave rather than an r.m.s. trend: whether it goes clearly below 0.

    Parameters
    ----------
    voltage_kv : ndarray (n,)
        Samples [kV].

    Returns
    -------
    bool
        True where the least value lies below −20 % of the greatest magnitude; an offset of a trend's zero does not.
    """
    if not len(voltage_kv):
        return False
    least, greatest = float(voltage_kv.min()), float(voltage_kv.max())
    return least < -_SIGN_SHARE * max(greatest, -least)


def _segments(time_s: Samples) -> tuple[float, list[tuple[int, int]]]:
    """Return the mean interval [s] and the stretches without a gap, as index pairs."""
    steps = np.diff(time_s)
    positive = steps[steps > 0]
    if not len(positive):
        raise NotAWave("All samples carry the same time.")
    usual = float(np.median(positive))
    # Times written with too few digits repeat; then the mean tells the interval, else the median, which gaps spare.
    interval = usual if len(positive) > 0.9 * len(steps) else float(steps.sum()) / len(steps)
    if not interval > _CLOSEST_S:
        raise NotAWave(f"The samples lie {interval:.3g} s apart, closer than any instrument takes them.")
    cuts = np.flatnonzero(steps > _GAP_INTERVALS * interval) + 1
    edges = [0, *(int(cut) for cut in cuts), len(time_s)]
    return interval, list(pairwise(edges))


def find_frequency(voltage: Samples, interval_s: float) -> float:
    """Return the frequency of the strongest component of equidistant samples [Hz].

    Parameters
    ----------
    voltage : ndarray (n,)
        Samples [any unit], without their mean they should not vanish.
    interval_s : float
        Time between them [s].

    Returns
    -------
    float
        Frequency [Hz], from the Hann-windowed spectrum with its greatest line and both neighbours.

    Raises
    ------
    NotAWave
        No component of 10 Hz or more stands out.

    Notes
    -----
    Error at most about 0.02 lines of 1/(n·interval), so below 0.001 Hz for a minute and 0.04 Hz for half a second.
    """
    part = voltage[:_FFT_SAMPLES]
    count, greatest = len(part), float(np.abs(part).max(initial=0.0))
    if greatest > 0:
        part = part / greatest
        part = part - float(np.mean(part))
    if count < LEAST_SAMPLES_A_PERIOD or not np.any(part):
        raise NotAWave("There are too few samples, or no alternating part, to find a frequency.")
    lines = np.abs(np.fft.rfft(part * np.hanning(count)))
    first = max(1, math.ceil(LOWEST_HZ * count * interval_s))
    if first >= len(lines) - 1:
        raise NotAWave(f"The record is too short, or its samples too far apart, to show {LOWEST_HZ:g} Hz or more.")
    place = first + int(np.argmax(lines[first:-1]))
    left, mid, right = lines[place - 1 : place + 2]
    if mid <= 0 or left <= 0 or right <= 0 or mid < float(lines[1:first].max(initial=0.0)):
        raise NotAWave(f"No wave of {LOWEST_HZ:g} Hz or more stands out.")
    # Hann window: the ratio of neighbouring lines gives the place between them exactly.
    offset = (2 * right - mid) / (mid + right) if right >= left else -(2 * left - mid) / (mid + left)
    frequency = float((place + offset) / (count * interval_s))
    if not 0 < frequency < math.inf:
        raise NotAWave("No frequency can be told from the samples.")
    return frequency


def _loudest(voltage: Samples, start: int, stop: int, samples: int) -> tuple[int, int]:
    """Return a stretch of at most `samples` about the greatest magnitude between start and stop."""
    top = start + int(np.argmax(np.abs(voltage[start:stop])))
    first = max(start, min(top - samples // 2, stop - samples))
    return first, min(stop, first + samples)


def _strong_part(voltage: Samples, segments: list[tuple[int, int]], interval: float) -> Samples:
    """Return about a second of the wave where it is strongest."""
    start, stop = max(
        segments, key=lambda pair: float(np.abs(voltage[pair[0] : pair[1]]).max()) if pair[1] - pair[0] > 60 else 0.0
    )
    first, last = _loudest(voltage, start, stop, max(200, int(min(1.0 / interval, len(voltage)))))
    return voltage[first:last]


def _refuse_cut(voltage_kv: Samples) -> None:
    cut = cut_crests(voltage_kv)
    if cut is not None and cut.count >= _LEAST_CUT:
        raise WaveCutOff(
            f"{cut.count} crests stand still at {cut.at:.4g} kV: the wave is cut off at the edge of the recorder's "
            "range, so its peak is not known. Measure with a greater range."
        )


def _crests(voltage: Samples, places: NDArray[np.intp], half: int) -> Samples:
    """Return the value of each crest by a parabola through the samples about the greatest one."""
    centre = np.clip(places, half, len(voltage) - half - 1)
    x = np.arange(-half, half + 1, dtype=float)
    solver = np.linalg.pinv(np.column_stack((np.ones_like(x), x, x**2)))
    rows = voltage[centre[:, None] + np.arange(-half, half + 1)[None, :]]
    level, slope, bend = solver @ rows.T
    with np.errstate(divide="ignore", invalid="ignore"):
        at = -slope / (2 * bend)
        vertex = level - slope**2 / (4 * bend)
    is_crest = (bend < 0) & (np.abs(at) <= half)
    return np.where(is_crest, vertex, voltage[places])


def _steadied(places: NDArray[np.intp], per_period: float) -> NDArray[np.intp]:
    """Return where crests lie by the phase of their neighbours: the greatest sample is the one with the most noise."""
    if len(places) < _NEIGHBOURS:
        return places
    turns = np.exp(2j * np.pi * (places % per_period) / per_period)
    kernel = np.ones(_NEIGHBOURS)
    mean = np.convolve(np.pad(turns, _NEIGHBOURS // 2, mode="edge"), kernel, mode="valid")
    away = np.angle(mean * turns.conjugate()) / (2 * np.pi) * per_period
    near = np.abs(away) <= per_period * _CREST_DEG / 360  # else the phase jumps there, or the period shows no crest
    return np.where(near, np.rint(places + away).astype(np.intp), places)


def trend_of(time_s: Samples, voltage_kv: Samples) -> WaveTrend:
    """Return the peaks of a wave, period by period.

    Parameters
    ----------
    time_s, voltage_kv : ndarray (n,)
        Times [s], never falling, and instantaneous voltage [kV]. Gaps are allowed: periods across them are left out.

    Returns
    -------
    WaveTrend
        Frozen. Each peak is the vertex of a parabola through the samples within ± 12° of the greatest one, which
        averages noise and finds crests between samples.

    Raises
    ------
    NotAWave
        No frequency stands out, or there are fewer than 20 samples in a period.
    WaveCutOff
        Several crests stand still at the edge of the recorder's range. A single one does not count: a disruptive
        discharge may drive a recorder out of its range for a moment.

    References
    ----------
    Test-voltage value as peak/√2, the mean of both polarities: IEC 60060-1:2010, clause 6 (from memory).
    """
    interval, segments = _segments(time_s)
    frequency = find_frequency(_strong_part(voltage_kv, segments, interval), interval)
    per_period = 1.0 / (frequency * interval)
    if per_period < LEAST_SAMPLES_A_PERIOD:
        raise NotAWave(
            f"The wave of {frequency:.4g} Hz has {per_period:.3g} samples in a period; at least "
            f"{LEAST_SAMPLES_A_PERIOD} are needed to find its peak."
        )
    if per_period > len(time_s):
        raise NotAWave("The record is shorter than a period of its wave.")
    _refuse_cut(voltage_kv)
    length = math.ceil(per_period)
    half = max(1, round(per_period * _CREST_DEG / 360))
    times, positive, negative = [], [], []
    for start, stop in segments:
        blocks = (stop - start) // length
        if not blocks:
            continue
        part = voltage_kv[start : start + blocks * length].reshape(blocks, length)
        base = np.arange(blocks) * length
        inside = voltage_kv[start:stop]
        positive.append(_crests(inside, _steadied(base + part.argmax(axis=1), per_period), half))
        negative.append(_crests(-inside, _steadied(base + part.argmin(axis=1), per_period), half))
        times.append(time_s[start + base + length // 2])
    if not times:
        raise NotAWave("The record has no whole period without a gap.")
    up, down = np.concatenate(positive), np.concatenate(negative)
    level = np.maximum((up + down) / 2 / math.sqrt(2), 0.0)
    return WaveTrend(np.concatenate(times), level, up, down, frequency, length * interval)


def _harmonics(voltage: Samples, omega_dt: float, highest: int) -> tuple[Samples, float]:
    """Return the amplitudes of the harmonics 1 to `highest` by least squares, and the scatter that they leave.

    `omega_dt` in radians a sample.
    """
    angle = np.arange(len(voltage)) * omega_dt
    turns = np.exp(1j * np.outer(np.arange(1, highest + 1), angle))
    rows = np.concatenate((np.ones((1, len(voltage))), turns.real, turns.imag))
    # Over ten periods the rows are nearly orthogonal, so the normal equations lose nothing.
    solved = np.linalg.solve(rows @ rows.T, rows @ voltage)
    left = voltage - solved @ rows
    fitted = solved[1:]
    amplitudes = np.asarray(np.hypot(fitted[:highest], fitted[highest:]), dtype=float)
    return amplitudes, float(np.sqrt(left @ left / max(len(voltage) - len(rows), 1)))


@dataclass(frozen=True)
class _Distortion:
    """THD [%] and its standard uncertainty [%]; scatter of one sample about the harmonics, same unit as the wave."""

    distortion_pct: float
    uncertainty_pct: float
    scatter: float


def _distortion(voltage: Samples, frequency_hz: float, interval_s: float) -> _Distortion:
    """Return the total harmonic distortion, the mean of up to three places of ten periods each.

    Noise of σ a sample gives each component of a harmonic the variance 2σ²/n. That moves the root of the sum of
    squares by σ√(2/n) either way, and lifts it by what H harmonics of noise add to the sum, 4Hσ²/n.
    """
    per_period = 1.0 / (frequency_hz * interval_s)
    highest = min(_HIGHEST_HARMONIC, int(0.45 * per_period))
    length = min(len(voltage), round(_HARMONIC_PERIODS * per_period))
    places = min(_HARMONIC_PLACES, len(voltage) // length)
    found, scatters, fundamentals = [], [], []
    for start in np.linspace(0, len(voltage) - length, places).astype(int):
        part = voltage[start : start + length]
        amplitudes, scatter = _harmonics(part, 2 * math.pi * frequency_hz * interval_s, highest)
        found.append(float(np.hypot.reduce(amplitudes[1:])) / float(amplitudes[0]))
        scatters.append(scatter)
        fundamentals.append(float(amplitudes[0]))
    share, scatter, fundamental = float(np.mean(found)), float(np.mean(scatters)), float(np.mean(fundamentals))
    floor = 2 * scatter * math.sqrt(max(highest - 1, 0) / length) / fundamental
    lifted = floor**2 / (2 * share) if share > floor else floor
    either_way = scatter / fundamental * math.sqrt(2 / (length * places))
    return _Distortion(100 * share, 100 * math.hypot(either_way, lifted), scatter)


def shape_of(time_s: Samples, voltage_kv: Samples, trend: WaveTrend, begin_s: float, end_s: float) -> WaveShape:
    """Return the shape of a wave between two times, over its longest part without a gap.

    Parameters
    ----------
    time_s, voltage_kv : ndarray (n,)
        The wave [s], [kV].
    trend : WaveTrend
        Of the same wave.
    begin_s, end_s : float
        The stretch, as a rule a hold [s].

    Returns
    -------
    WaveShape
        Frozen.

    Raises
    ------
    NotAWave
        The stretch holds fewer than two periods.

    References
    ----------
    IEC 60060-1:2010, clause 6 (from memory).
    """
    first, last = np.searchsorted(time_s, [begin_s, end_s])
    interval, segments = _segments(time_s[first:last]) if last - first > 1 else (0.0, [(0, 0)])
    start, stop = max(segments, key=lambda pair: pair[1] - pair[0])
    part = voltage_kv[first + start : first + stop]
    if len(part) < 2 / (trend.frequency_hz * (interval or 1.0)):
        raise NotAWave("The stretch holds fewer than two periods of the wave.")
    frequency = find_frequency(part, interval)
    per_period = 1.0 / (frequency * interval)
    whole = part[: max(1, round(math.floor(len(part) / per_period) * per_period))]
    inside = (trend.time_s >= begin_s) & (trend.time_s <= end_s)
    up, down = float(np.mean(trend.positive_kv[inside])), float(np.mean(trend.negative_kv[inside]))
    crest, effective = (up + down) / 2, float(np.sqrt(np.mean(whole**2)))
    distortion = _distortion(whole, frequency, interval)
    # Rounding counts by itself only where no noise of half a step averages it out.
    step = resolution_of(part)
    rounding = step / math.sqrt(12) if distortion.scatter < step / 2 else 0.0
    points = 2 * max(1, round(per_period * _CREST_DEG / 360)) + 1
    u_crest = distortion.scatter * math.sqrt(9 / (4 * points * max(int(inside.sum()), 1)))
    amplitude, count = math.sqrt(2) * effective, len(part[:_FFT_SAMPLES])
    return WaveShape(
        frequency,
        crest / effective,
        100 * abs(up - down) / crest,
        distortion.distortion_pct,
        len(whole) / per_period,
        {
            "frequency_hz": _u_frequency(distortion.scatter / amplitude, count, interval),
            "crest_factor": math.hypot(
                u_crest / math.sqrt(2), rounding, crest * distortion.scatter / effective / math.sqrt(len(whole))
            )
            / effective,
            "polarity_difference_pct": 100 * math.sqrt(2) * math.hypot(u_crest, rounding) / crest,
            "total_harmonic_distortion_pct": distortion.uncertainty_pct,
        },
    )


def _u_frequency(noise: float, count: int, interval_s: float) -> float:
    """Return the standard uncertainty of a frequency [Hz] from `count` samples, noise being relative to the amplitude.

    The variance of the best estimate is 24 σ²/(a² n³) in radians a sample (Rife and Boorstyn, from memory); the window
    costs a factor of 2 in it, found by many draws. What other lines leak in is at most 0.02 lines of 1/(n Δt).
    """
    by_noise = noise * math.sqrt(2 * 24 / count**3) / (2 * math.pi * interval_s)
    return math.hypot(by_noise, _LEAKED_LINES / math.sqrt(3) / (count * interval_s))
