"""A sweep fitted by pole pairs: started by vector fitting, refined by weighted least squares of logarithms."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from equipment.metrology.serial import serial_factor
from records.evaluation.sweep.observing import Observed
from records.evaluation.sweep.poles import fitted_poles, starting_poles
from records.evaluation.sweep.rational import Model
from records.evaluation.sweep.responses import Complexes
from records.evaluation.sweep.scatter import Scatter, scatter_of
from records.readers.recording import Samples

_STEPS = 40
_PASSES = 10  # each weighs the samples by the scatter that the one before left …
_SETTLED = 1.1  # … until no weight moves further than this against another
_MORE_PAIRS = 2
_BETTER_SKEWED, _BETTER_WITH_MORE = 0.8, 0.65  # of the weighted squares: what freeing κ, or one more pair, must reach
_ALIKE, _ALIKE_SIGMAS = 0.15, 4.0  # correlation of neighbours, and times its chance 1/√n, from which on it counts
_WHITE = 0.3  # correlation of neighbouring residuals below which nothing is left to explain


@dataclass(frozen=True)
class Fit:
    """A model and what it leaves.

    Attributes
    ----------
    model : Model
        Fitted.
    scatter : Scatter
        Of the errors, with the covariance of the model's free parameters.
    errors : ndarray (2 n,) or (n,)
        Relative, magnitude above phase where that was measured, dimensionless.
    count : int
        Of samples.
    residual : float
        Root of the mean square of a sample's relative error, dimensionless.
    by_scale : ndarray (k,)
        How far the free parameters move by an error of the measured magnitudes, as `Observed.scale` gives it.
    likeness : float
        Correlation of neighbouring weighted errors, -1 to 1.
    worst_place : int
        Sample around which the weighted errors are greatest.
    widened : float
        Root of the factor by which the covariance was made greater because neighbouring errors are alike, at least 1.
    """

    model: Model
    scatter: Scatter
    errors: Samples
    count: int
    residual: float
    by_scale: Samples
    likeness: float
    worst_place: int
    widened: float = 1.0

    @property
    def noise_db(self) -> float:
        """Standard deviation of the median sample's magnitude [dB]."""
        return 20 / math.log(10) * float(np.median(self.scatter.spread[: self.count]))

    @property
    def noise_deg(self) -> float:
        """Standard deviation of the median sample's phase [°]; 0 where none was measured."""
        of_phase = self.scatter.spread[self.count :]
        return math.degrees(float(np.median(of_phase))) if len(of_phase) else 0.0

    def improves(self, other: Fit, share: float) -> bool:
        """Return whether the errors, weighted by the other fit's scatter, are below a share of the other's."""
        mine, others = (float(np.sum((one.errors / other.scatter.spread) ** 2)) for one in (self, other))
        return mine < share * others


def best_fit(observed: Observed, peaks: Sequence[float], unit: float, *, has_coil: bool) -> Fit:
    """Return the fit of as few pole pairs as leave nothing that neighbouring samples share.

    Parameters
    ----------
    observed : Observed
        Samples.
    peaks : sequence of float
        Frequencies to start from [Hz].
    unit : float
        Of angular frequency [rad/s].
    has_coil : bool
        Whether a coil lies beside the pairs.
    """
    poles = fitted_poles(observed.s, observed.admittance, starting_poles(peaks, unit, has_real=has_coil), observed.size)
    start = _started(observed, poles, has_coil=has_coil)
    if not observed.has_phase and observed.series:
        # A conductance beside a branch is hardly told from the branch: it is freed only where something is left.
        start = replace(start, has_leak=False, ends=np.array([0.0, *start.ends[1:]]))
    best = refined(observed, start)
    if best.likeness > _WHITE and not start.has_leak:
        leaking = refined(observed, replace(best.model, has_leak=True))
        if leaking.improves(best, _BETTER_SKEWED):
            best = leaking
    if best.likeness > _WHITE:
        skewed = refined(observed, replace(best.model, is_skewed=True))
        if skewed.improves(best, _BETTER_SKEWED):
            best = skewed
    for _ in range(_MORE_PAIRS):
        if best.likeness <= _WHITE:
            break
        known = observed.with_phase_of(best.model.value_and_slopes(observed.s)[0])
        more = np.append(poles, abs(observed.s[best.worst_place]) * (-0.02 + 1j))
        poles = fitted_poles(known.s, known.admittance, more, known.size)
        trial = refined(observed, replace(_started(known, poles, has_coil=has_coil), is_skewed=True))
        if not trial.improves(best, _BETTER_WITH_MORE):
            break
        best = trial
    return best


def _started(observed: Observed, poles: Complexes, *, has_coil: bool) -> Model:
    """Return starting parameters: the poles' frequency and damping, and strengths by linear least squares."""
    s, size = observed.s, observed.size
    pairs = [pole for pole in poles if pole.imag > 0]
    real = [-pole.real for pole in poles if pole.imag == 0] or [0.1 * abs(s[0])]
    omegas = [abs(pole) for pole in pairs]
    qualities = [max(abs(pole) / (-2 * pole.real), 0.1) if pole.real else 1e4 for pole in pairs]
    columns = [s / (s**2 + s * omega / quality + omega**2) for omega, quality in zip(omegas, qualities, strict=True)]
    columns += [np.ones_like(s), s, *([1 / (s + real[0])] if has_coil else [])]
    matrix, aim = np.column_stack(columns) / size[:, None], observed.admittance / size
    stacked = np.concatenate([matrix.real, matrix.imag])
    width = np.linalg.norm(stacked, axis=0)
    strengths = np.linalg.lstsq(stacked / width, np.concatenate([aim.real, aim.imag]), rcond=None)[0] / width
    rows = [
        [math.log(omega), 1 / quality, -math.log(max(strength, 1e-12)), 0.0]
        for omega, quality, strength in zip(omegas, qualities, strengths, strict=False)
    ]
    ends = [*strengths[len(pairs) : len(pairs) + 2], 0.0, math.log(max(real[0], 1e-9))]
    if has_coil:
        ends[2] = math.log(max(float(strengths[-1]), 1e-12))
    return Model(np.array(rows).reshape(-1, 4), np.array(ends), has_coil, is_skewed=False)


def refined(observed: Observed, model: Model) -> Fit:
    """Return the model after damped least squares of logarithms, weighted by the scatter that the pass before left."""
    scatter, values = None, model.packed()
    for _ in range(_PASSES):
        spread = np.ones((1 + observed.has_phase) * len(observed.s)) if scatter is None else scatter.spread
        values = _descended(observed, model, values, spread)
        fitted = model.unpacked(values)
        if (fitted.pairs[:, 1] < 0).any() and not observed.has_phase:  # a magnitude alone has a mirrored minimum there
            values = _descended(observed, model, fitted.damped().packed(), spread)
            fitted = model.unpacked(values)
        admittance, slopes = fitted.value_and_slopes(observed.s)
        errors, by_parameters = observed.errors(admittance, slopes)
        scatter = scatter_of(errors, by_parameters, observed.impedance(admittance), scatter)
        change = scatter.spread / spread
        if change.max() < _SETTLED * change.min():
            break
    assert scatter is not None
    half = len(observed.s)
    both = errors.reshape(-1, half)
    weighted = observed.scale / scatter.spread[:half] ** 2
    by_scale = scatter.inverse @ (by_parameters[:half].T @ weighted)
    white = (errors / scatter.spread).reshape(both.shape)
    of_samples = np.sqrt(np.sum(white**2, axis=0))
    worst = int(np.convolve(of_samples, np.ones(5) / 5, mode="same").argmax())
    residual = float(np.sqrt(np.mean(np.sum(both**2, axis=0))))
    alike = _likeness(both, white)
    factor = 1.0
    if alike > max(_ALIKE, _ALIKE_SIGMAS / math.sqrt(white.size)):
        factor = float(np.mean([serial_factor(one, by_parameters.shape[1]) for one in white]))
        scatter = replace(scatter, inverse=factor * scatter.inverse)
    return Fit(fitted, scatter, errors, half, residual, by_scale, alike, worst, math.sqrt(factor))


def _likeness(errors: Samples, white: Samples) -> float:
    """Return how alike neighbouring weighted errors (1 or 2, n) are, -1 to 1; 0 where only rounding is left."""
    if float(np.sum(errors**2)) < 1e-20 * errors.shape[1]:
        return 0.0
    return float(np.sum(white[:, 1:] * white[:, :-1])) / float(np.sum(white**2))


def _descended(observed: Observed, model: Model, values: Samples, spread: Samples) -> Samples:
    def looked_at(at: Samples) -> tuple[float, Samples, Samples]:
        errors, slopes = observed.errors(*model.unpacked(at).value_and_slopes(observed.s))
        left = errors / spread
        return float(left @ left), left, slopes / spread[:, None]

    cost, left, slopes = looked_at(values)
    damping = 1e-3
    for _ in range(_STEPS):
        width = np.linalg.norm(slopes, axis=0)
        width[width == 0] = 1.0
        scaled = slopes / width
        normal = scaled.T @ scaled + damping * np.eye(len(width))
        step = np.linalg.lstsq(normal, -scaled.T @ left, rcond=None)[0] / width
        step = np.clip(step, -1.0, 1.0)
        trial_cost, trial_left, trial_slopes = looked_at(values + step)
        if math.isfinite(trial_cost) and trial_cost <= cost:
            is_done = cost - trial_cost <= 1e-10 * cost or trial_cost < 1e-22 * len(observed.s)
            values, cost, left, slopes = values + step, trial_cost, trial_left, trial_slopes
            damping = max(damping / 10, 1e-14)
            if is_done:
                break
        else:
            damping *= 10
            if damping > 1e8:
                break
    return values
