"""A fitted impulse rounded to the recorder's steps again and again: what that does to its parameters."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import savgol_filter

from records.evaluation.impulse.fitting import BaseCurve
from records.evaluation.impulse.recorded import Recorded
from records.evaluation.impulse.rounding import Staircase
from records.evaluation.impulse.smoothing import filtered
from records.readers.recording import Samples

_DRAWS, _OF_NOISE, _SEED = 64, 5, 1
_MOST_SAMPLES = 9000  # of the curve that are rounded in each draw; longer records are thinned
_MOST_FLAT = 300
_REACH_US = 4.5  # around the window of the fit: what the filter brings in from beyond is below exp(-18)
_NEAR_TOP, _NEAR_STEPS = 0.01, 4.0  # of the crest, and steps: noise and steps do not bring up what lies lower
_SMOOTH_US = 0.6
# The two-dimensional sequence of the plastic number fills a square evenly, however many of its points are taken.
_PLASTIC = 1.324717957244746


class SteppedCurves:
    """The errors of a test-voltage curve over draws of where the steps lie.

    `noise_kv` is the standard deviation that noise leaves in a single sample beside them [kV].

    Parameters
    ----------
    recorded : Recorded
        With the step of its recorder.
    base : BaseCurve
        The fit.
    window_us : tuple of float
        First and last time of the samples that were fitted [µs].
    noise_steps : float
        Noise before rounding [steps].
    residual_kv : ndarray (n,) or None
        What the fit leaves where it shows more than noise, as with an overshoot [kV].

    Notes
    -----
    In each draw the level before the impulse lies elsewhere within a step, and the curve is greater or smaller by up
    to a step at its crest, so that crest and half value lie anywhere within one too: none is known better. What the
    staircase makes of the curve is taken through base level, fit (by its derivatives) and filter as the samples are;
    of the greatest value the search itself is done. Noise counts in it by its mean effect; what it adds as noise is
    reckoned by `CurveNoise`.

    References
    ----------
    JCGM 101:2008, propagation of distributions (from memory).
    """

    def __init__(
        self,
        recorded: Recorded,
        base: BaseCurve,
        window_us: tuple[float, float],
        noise_steps: float,
        residual_kv: Samples | None = None,
    ) -> None:
        self.recorded, self.base, self.step_kv = recorded, base, recorded.step_kv
        self.stairs = Staircase.with_noise(noise_steps)
        ends = [base.wave.start_us - _REACH_US, window_us[1] + _REACH_US]
        first, last = np.searchsorted(recorded.time_us, ends)
        self.noise_kv = self.step_kv * float(np.sqrt(self.stairs.variance.mean()))
        self.every = max(1, -(-int(last - first) // _MOST_SAMPLES))
        self.time_us = recorded.time_us[first : last : self.every]
        self.interval_us = self.every * recorded.interval_us
        of_base = base.wave.at(self.time_us)
        self.smooth_kv = self.curve_kv = of_base
        if residual_kv is not None:
            self.smooth_kv = of_base + self._smoothed(residual_kv[first : last : self.every])
            self.curve_kv = of_base + filtered(self.smooth_kv - of_base, self.interval_us)
        places = np.arange(1, _DRAWS + 1)
        self.offsets = (0.5 + places / _PLASTIC) % 1.0
        self.gains = 1 + (2 * ((0.5 + places / _PLASTIC**2) % 1.0) - 1) * self.step_kv / recorded.extreme_kv
        drift = recorded.drift_kv_per_us * (self.time_us - recorded.flat_centre_us)
        self.in_steps = (self.gains[:, None] * self.smooth_kv + drift) / self.step_kv + self.offsets[:, None]
        self.errors_kv = self.step_kv * self.stairs.at(self.in_steps) - self._of_base_level()
        slopes = base.slopes_at(self.time_us)
        inside = (self.time_us >= window_us[0]) & (self.time_us <= window_us[1])
        # Sums over the samples by einsum: a library's threads would cost more than these products.
        pull = np.einsum("di,ip->dp", self.errors_kv[:, inside], slopes[inside])
        self.of_fit = self.every * pull @ base.scatter
        self.of_base_kv = np.einsum("dp,ip->di", self.of_fit, slopes)
        self.of_curve_kv = filtered(self.errors_kv - self.of_base_kv, self.interval_us) + self.of_base_kv

    def _smoothed(self, residual_kv: Samples) -> Samples:
        """Return a residual without its noise [kV]: by polynomials that let oscillations up to some 0.7 MHz stay."""
        size = 2 * max(3, round(_SMOOTH_US / self.interval_us)) + 1
        return residual_kv if size > len(residual_kv) else np.asarray(savgol_filter(residual_kv, size, 4))

    def _of_base_level(self) -> NDArray[np.float64]:
        """Return the errors of the base level [kV] in each draw and at each time, an ndarray (64, n) or (64, 1)."""
        flat = self.recorded.flat
        if not flat:
            return np.zeros((_DRAWS, 1))
        times = self.recorded.time_us[: flat : max(1, flat // _MOST_FLAT)] - self.recorded.flat_centre_us
        level = self.recorded.drift_kv_per_us * times / self.step_kv + self.offsets[:, None]
        errors = self.step_kv * self.stairs.at(level)
        mean: NDArray[np.float64] = errors.mean(axis=1, keepdims=True)
        if not self.recorded.drift_kv_per_us:
            return mean
        slope = errors @ (times - times.mean()) / float(np.sum((times - times.mean()) ** 2))
        answer: NDArray[np.float64] = mean + slope[:, None] * (self.time_us - self.recorded.flat_centre_us)
        return answer

    def of_top(self) -> Samples:
        """Return the error of the test-voltage curve's greatest value [kV] in each draw, an ndarray (64,)."""
        part = self._around_top(self.curve_kv)
        curves = self.gains[:, None] * self.curve_kv[part] + self.of_curve_kv[:, part]
        return _greatest(curves) - self.gains * float(_greatest(self.curve_kv[None, part])[0])

    def _around_top(self, curve_kv: Samples) -> slice:
        top = float(curve_kv.max())
        near = np.flatnonzero(curve_kv >= top - max(_NEAR_TOP * top, _NEAR_STEPS * self.step_kv))
        return slice(int(near[0]), int(near[-1]) + 1)

    def at(self, points_us: Samples) -> NDArray[np.float64]:
        """Return the errors of the curve [kV] at times [µs] (m,) in each draw, an ndarray (64, m)."""
        after = np.clip(np.searchsorted(self.time_us, points_us), 1, len(self.time_us) - 1)
        share = np.clip((points_us - self.time_us[after - 1]) / self.interval_us, 0.0, 1.0)
        answer: NDArray[np.float64] = (1 - share) * self.of_curve_kv[:, after - 1] + share * self.of_curve_kv[:, after]
        return answer

    def of_extreme(self, half_us: float) -> tuple[float, Samples]:
        """Return what the search for the extreme adds on average [kV], and the errors of overshoot that are left [kV].

        Parameters
        ----------
        half_us : float
            Half width of the parabolas by which what is left of the recorded curve is averaged [µs].

        Returns
        -------
        float
            To be taken off the extreme.
        ndarray (m,)
            Errors of the extreme less those of the base curve's crest, their mean taken off; with noise several of
            each draw, otherwise one.
        """
        part = self._around_top(self.smooth_kv)
        size = min(2 * max(2, round(half_us / self.interval_us)) + 1, (len(self.smooth_kv[part]) - 1) // 2 * 2 + 1)
        left = (self.errors_kv - self.of_base_kv)[:, part]
        spread = self.step_kv * self.stairs.spread_at(self.in_steps[:, part])
        turns = _OF_NOISE if spread.any() else 1
        white = np.random.default_rng(_SEED).standard_normal((turns, *spread.shape)) if turns > 1 else 0.0
        noisy = left + white * spread / np.sqrt(self.every)
        averaged = savgol_filter(noisy, size, 2, mode="nearest", axis=-1) if size > 2 else noisy
        curves = self.gains[:, None] * self.smooth_kv[part] + self.of_base_kv[:, part] + averaged
        found = curves.max(axis=-1).reshape(turns, _DRAWS) - self.gains * float(self.smooth_kv[part].max())
        at_crest = self.base.slopes_at(np.array([self.base.wave.start_us + self.base.wave.crest_us]))[0]
        excess = float(found.mean())
        return excess, (found - excess - self.of_fit @ at_crest).ravel()


def _greatest(curves: NDArray[np.float64]) -> Samples:
    """Return the maximum of each row, by a parabola through its greatest values."""
    places = np.clip(curves.argmax(axis=1), 1, curves.shape[1] - 2)
    rows = np.arange(len(curves))
    before, top, after = (curves[rows, places + by] for by in (-1, 0, 1))
    bend = np.minimum(before - 2 * top + after, -1e-300)
    shift = np.clip(0.5 * (before - after) / bend, -1.0, 1.0)
    answer: Samples = top - 0.25 * (before - after) * shift
    return answer
