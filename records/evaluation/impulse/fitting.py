"""The base curve: a double exponential fitted from a fifth on the front to two fifths on the tail."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from records.evaluation.impulse.exponentials import DoubleExponential
from records.readers.recording import Samples

_BLOCKS = 1200
_STEPS = 60
_LEAST_SAMPLES = 12


class NoFit(ValueError):
    """No double exponential fits the samples; the message says what is wrong, for the finding's reason."""


@dataclass(frozen=True)
class BaseCurve:
    """The fitted curve b(t) = A exp(-(t - t0)/τ1) - B exp(-(t - t0)/τ2) from its start on, 0 before.

    Attributes
    ----------
    wave : DoubleExponential
        The same with U and td; positive (the record is turned to positive polarity before the fit).
    origin_us : float
        t0 [µs].
    parameters : ndarray (4,)
        A, B [kV], ln τ1, ln τ2 [τ in µs].
    scatter : ndarray (4, 4)
        (JᵀJ)⁻¹ [1/unit²]: covariance of the parameters for samples of unit variance.
    residual_kv : float
        Root mean square of what the fit leaves over its window [kV].
    """

    wave: DoubleExponential
    origin_us: float
    parameters: Samples
    scatter: NDArray[np.float64]
    residual_kv: float

    def slopes_at(self, time_us: Samples) -> NDArray[np.float64]:
        """Return the derivatives of b by the four parameters at times [µs], an ndarray (n, 4); 0 before the start."""
        rows = _slopes(self.parameters, time_us - self.origin_us, np.ones_like(time_us), 0.0)
        rows[time_us < self.wave.start_us] = 0.0
        return rows


@dataclass(frozen=True)
class _Blocks:
    """Means of neighbouring samples: their centre times, their values, how many each, and the sampling period."""

    time_us: Samples
    values_kv: Samples
    counts: Samples
    interval_us: float


def fit_base_curve(time_us: Samples, values_kv: Samples, interval_us: float, *, crest: int) -> BaseCurve:
    """Return the double exponential that fits best by least squares.

    Parameters
    ----------
    time_us, values_kv : ndarray (n,)
        Evenly spaced times [µs] and the samples of the window, positive polarity, base level subtracted [kV].
    interval_us : float
        Sampling period [µs].
    crest : int
        Index of the greatest sample; the front is kept finer than the tail.

    Returns
    -------
    BaseCurve
        Frozen.

    Raises
    ------
    NoFit
        Fewer than 12 samples, or no double exponential with τ1 above τ2 fits.

    Notes
    -----
    Neighbouring samples are averaged, at most 1200 blocks on the front and as many on the tail, and compared with the
    model's own mean over each block, which has a closed form: nothing is biased, and a long record costs no more.
    The four parameters are found by Levenberg's damped steps with analytic derivatives.

    References
    ----------
    IEC 60060-1:2010 annex B, from memory.
    """
    if len(values_kv) < _LEAST_SAMPLES:
        raise NoFit(f"Only {len(values_kv)} samples lie in the window of the base curve; {_LEAST_SAMPLES} are needed.")
    origin = float(time_us[0])
    blocks = _averaged(time_us - origin, values_kv, interval_us, min(4 * crest + 1, len(values_kv)))
    parameters = _stepped(_first_guess(time_us - origin, values_kv, crest), blocks)
    wave = _wave(parameters, origin)
    weights = np.sqrt(blocks.counts)[:, None]
    jacobian = _slopes(parameters, blocks.time_us, blocks.counts, interval_us) * weights
    scatter = _inverse(jacobian.T @ jacobian)
    left = values_kv - wave.at(time_us)
    return BaseCurve(wave, origin, parameters, scatter, float(np.sqrt(np.mean(left**2))))


def _averaged(time_us: Samples, values_kv: Samples, interval_us: float, front: int) -> _Blocks:
    times, values, counts = [], [], []
    for first, last in ((0, front), (front, len(values_kv))):
        size = max(1, -(-(last - first) // _BLOCKS))
        whole = (last - first) // size
        cut = first + whole * size
        times.append(time_us[first:cut].reshape(whole, size).mean(axis=1))
        values.append(values_kv[first:cut].reshape(whole, size).mean(axis=1))
        counts.append(np.full(whole, float(size)))
        if cut < last:
            times.append(time_us[cut:last].mean(keepdims=True))
            values.append(values_kv[cut:last].mean(keepdims=True))
            counts.append(np.array([float(last - cut)]))
    return _Blocks(np.concatenate(times), np.concatenate(values), np.concatenate(counts), interval_us)


def _first_guess(time_us: Samples, values_kv: Samples, crest: int) -> Samples:
    span = float(time_us[-1]) or 1.0
    rise = max(float(time_us[crest]), span * 1e-3)
    tail = slice(crest + (len(values_kv) - crest) // 4, None)
    kept = values_kv[tail] > 0.2 * values_kv[crest]
    slow = 3 * span
    if kept.sum() > 3:
        slope = np.polyfit(time_us[tail][kept], np.log(values_kv[tail][kept]), 1)[0]
        slow = -1 / slope if slope < -1e-6 / span else 20 * span
    fast = min(rise / 4, slow / 4)
    return np.array([0.0, 0.0, math.log(slow), math.log(fast)])


def _means(log_tau: float, time_us: Samples, counts: Samples, interval_us: float) -> tuple[Samples, Samples]:
    """Return the mean of exp(-t/τ) over each block and its derivative by ln τ."""
    tau = math.exp(log_tau)
    half = interval_us / (2 * tau)
    value: Samples = np.exp(-time_us / tau)
    slope = time_us / tau
    if half > 0 and (counts > 1).any():
        wide = np.maximum(counts * half, 1e-12)
        value = value * np.where(counts > 1, np.sinh(wide) / (counts * math.sinh(half)), 1.0)
        slope = slope - np.where(counts > 1, wide / np.tanh(wide) - half / math.tanh(half), 0.0)
    return value, value * slope


def _slopes(parameters: Samples, time_us: Samples, counts: Samples, interval_us: float) -> NDArray[np.float64]:
    a, b, log_slow, log_fast = parameters
    slow, by_slow = _means(log_slow, time_us, counts, interval_us)
    fast, by_fast = _means(log_fast, time_us, counts, interval_us)
    return np.column_stack([slow, -fast, a * by_slow, -b * by_fast])


def _amplitudes(logs: Samples, blocks: _Blocks, weights: Samples) -> tuple[Samples, float]:
    """Return the parameters with the best A and B for two time constants, and the sum of squares they leave."""
    columns = _slopes(np.array([0.0, 0.0, *logs]), blocks.time_us, blocks.counts, blocks.interval_us)[:, :2]
    best = np.linalg.lstsq(columns * weights[:, None], blocks.values_kv * weights, rcond=None)[0]
    left = (blocks.values_kv - columns @ best) * weights
    return np.array([*best, *logs]), float(left @ left)


def _stepped(guess: Samples, blocks: _Blocks) -> Samples:
    weights = np.sqrt(blocks.counts)
    parameters, cost = _amplitudes(guess[2:], blocks, weights)
    damping = 1e-3
    for _ in range(_STEPS):
        jacobian = _slopes(parameters, blocks.time_us, blocks.counts, blocks.interval_us) * weights[:, None]
        left = blocks.values_kv * weights - jacobian[:, :2] @ parameters[:2]
        normal, pull = jacobian.T @ jacobian, jacobian.T @ left
        step = _solved(normal + damping * np.diag(np.diag(normal) + 1e-300), pull)[2:]
        logs = parameters[2:] + np.clip(step, -1.0, 1.0)
        trial, trial_cost = _amplitudes(logs, blocks, weights)
        if trial_cost <= cost:
            is_done = cost - trial_cost <= 1e-14 * cost and np.abs(step).max() < 1e-9
            parameters, cost, damping = trial, trial_cost, max(damping / 10, 1e-12)
            if is_done:
                break
        else:
            damping *= 10
            if damping > 1e12:
                break
    return parameters


def _solved(matrix: NDArray[np.float64], right: Samples) -> Samples:
    try:
        return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)
    except np.linalg.LinAlgError:
        raise NoFit("The samples do not determine a double exponential.") from None


def _inverse(matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    scale = np.sqrt(np.diag(matrix))
    if not (scale > 0).all():
        raise NoFit("The samples do not determine a double exponential.")
    inverse = np.linalg.pinv(matrix / np.outer(scale, scale)) / np.outer(scale, scale)
    return np.asarray(inverse, dtype=np.float64)


def _wave(parameters: Samples, origin_us: float) -> DoubleExponential:
    a, b, log_slow, log_fast = (float(one) for one in parameters)
    slow, fast = math.exp(log_slow), math.exp(log_fast)
    if not (a > 0 and b > 0 and slow > fast * (1 + 1e-6)):
        raise NoFit("The best double exponential has no front and tail of an impulse.")
    start = math.log(b / a) / (1 / fast - 1 / slow)
    amplitude = a * math.exp(-start / slow)
    if not (math.isfinite(amplitude) and math.isfinite(start)):
        raise NoFit("The best double exponential has no finite amplitude.")
    return DoubleExponential(amplitude, slow, fast, origin_us + start)
