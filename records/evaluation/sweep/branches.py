"""Branches of a filter from its admittance: each branch's resonance, quality factor, inductance, with covariance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from equipment.metrology.propagation import coverage_factor
from records.evaluation.estimating import COVERAGE_PROBABILITY
from records.evaluation.sweep.poles import fitted_poles, noise_of, peak_frequencies, starting_poles
from records.evaluation.sweep.responses import Complexes
from records.evaluation.sweep.scatter import Scatter, scatter_of
from records.evaluation.usual import USUAL
from records.readers.recording import Samples

LEAST_QUALITY = USUAL["least_quality_factor"].value
"""Quality factor below which a pair of poles is a broad hump and no resonance."""

_LEAST_KNOWN = 0.5
_STEPS = 40
_PASSES = 10  # each weighs the samples by the scatter that the one before left …
_SETTLED = 1.1  # … until no weight moves further than this against another
_WORST_RESIDUAL = 0.1  # relative: a fit that leaves more describes nothing
_MORE_PAIRS = 2
_BETTER_SKEWED, _BETTER_WITH_MORE = 0.8, 0.65  # of the weighted squares: what freeing κ, or one more pair, must reach
_WHITE = 0.3  # correlation of neighbouring residuals below which nothing is left to explain


class NoBranches(ValueError):
    """No few pole pairs describe the sweep; the message says what is wrong."""


@dataclass(frozen=True)
class Estimate:
    """A value and its standard uncertainty from noise, both in one unit, with the degrees of freedom of the latter."""

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float = math.inf

    @property
    def coverage_factor(self) -> float:
        """k for 95.45 % from the t-distribution, dimensionless."""
        return coverage_factor(COVERAGE_PROBABILITY, self.degrees_of_freedom)


@dataclass(frozen=True)
class Branch:
    """One series branch.

    Attributes
    ----------
    resonance_hz, quality_factor : Estimate
        f0 = |p|/2π [Hz] and Q = |p|/(-2 Re p), dimensionless, of its pole pair p.
    inductance_mh, capacitance_uf, resistance_ohm : Estimate
        L [mH], C = 1/(ω0² L) [µF], R = ω0 L/Q [Ω].
    skew : float
        κ of its numerator s + κ ω0, dimensionless; 0 for R, L and C in series.
    """

    resonance_hz: Estimate
    quality_factor: Estimate
    inductance_mh: Estimate
    capacitance_uf: Estimate
    resistance_ohm: Estimate
    skew: float = 0.0

    @property
    def is_determined(self) -> bool:
        """Whether quality factor and inductance are known to better than half of themselves; else it is noise."""
        known = (self.quality_factor, self.inductance_mh)
        return all(one.standard_uncertainty < _LEAST_KNOWN * one.value for one in known)

    def admittance(self, frequency_hz: Samples) -> Complexes:
        """Return the branch's admittance [S] at frequencies [Hz], an ndarray (n,) of complex."""
        omega = 2 * math.pi * self.resonance_hz.value
        x = 1j * frequency_hz / self.resonance_hz.value
        whole: Complexes = (x + self.skew) / (x**2 + x / self.quality_factor.value + 1)
        return whole / (omega * self.inductance_mh.value * 1e-3)


@dataclass(frozen=True)
class Network:
    """What a sweep was fitted by.

    Attributes
    ----------
    branches : tuple of Branch
        In rising order of resonance, those inside the swept range whose quality factor makes them resonances.
    broad : tuple of Branch
        Pole pairs that are none: too low a quality factor, not determined by the samples, or outside the swept range.
    parallel : tuple of Estimate
        Parallel resonances [Hz], where the impedance has its maxima, in rising order.
    conductance_s, capacitance_f : float
        What lies beside the branches: G0 [S] and C0 [F].
    coil : tuple of float
        1/L [1/H] and R/L [1/s] of a coil beside the branches; zeros where there is none.
    residual : float
        Root mean square of the relative errors, dimensionless.
    noise_db, noise_deg : float
        Standard deviations of the residuals in magnitude [dB] and phase [°], of the median sample.
    """

    branches: tuple[Branch, ...]
    broad: tuple[Branch, ...]
    parallel: tuple[Estimate, ...]
    conductance_s: float
    capacitance_f: float
    coil: tuple[float, float]
    residual: float
    noise_db: float
    noise_deg: float

    @property
    def parallel_hz(self) -> tuple[float, ...]:
        """Parallel resonances [Hz] without their uncertainty."""
        return tuple(one.value for one in self.parallel)

    def admittance(self, frequency_hz: Samples) -> Complexes:
        """Return the fitted admittance [S] at frequencies [Hz], an ndarray (n,) of complex."""
        s = 2j * math.pi * frequency_hz
        total: Complexes = self.conductance_s + s * self.capacitance_f
        if self.coil[0]:
            total = total + self.coil[0] / (s + self.coil[1])
        for branch in (*self.branches, *self.broad):
            total = total + branch.admittance(frequency_hz)
        return total


@dataclass(frozen=True)
class _Model:
    """Parameters of the fit: ln ω0, ln Q, ln L and κ of each pair, then G0, C0 and the coil; ω in units of `unit`."""

    pairs: NDArray[np.float64]
    ends: Samples
    has_coil: bool
    is_skewed: bool

    def packed(self) -> Samples:
        width = 4 if self.is_skewed else 3
        return np.concatenate([self.pairs[:, :width].ravel(), self.ends[: 4 if self.has_coil else 2]])

    def unpacked(self, values: Samples) -> _Model:
        width, count = (4 if self.is_skewed else 3), len(self.pairs)
        pairs = self.pairs.copy()
        pairs[:, :width] = values[: width * count].reshape(count, width)
        ends = self.ends.copy()
        ends[: 4 if self.has_coil else 2] = values[width * count :]
        return replace(self, pairs=pairs, ends=ends)

    def value_and_slopes(self, s: Complexes) -> tuple[Complexes, Complexes]:
        """Return the admittance (n,) and its derivatives by the packed parameters (n, k)."""
        total: Complexes = self.ends[0] + s * self.ends[1]
        columns = []
        for log_omega, log_quality, log_inductance, skew in self.pairs:
            x, damping = s / math.exp(log_omega), math.exp(-log_quality)
            below = x**2 + damping * x + 1
            plain = math.exp(-log_inductance - log_omega) / below
            one = (x + skew) * plain
            total = total + one
            by_omega = -one - x * plain + one * x * (2 * x + damping) / below
            columns += [by_omega, one * damping * x / below, -one, *([plain] if self.is_skewed else [])]
        columns += [np.ones_like(s), s]
        if self.has_coil:
            strength, decay = math.exp(self.ends[2]), math.exp(self.ends[3])
            coil = strength / (s + decay)
            total = total + coil
            columns += [coil, -coil * decay / (s + decay)]
        return total, np.column_stack(columns)

    def slope(self, s: complex) -> complex:
        """Return the derivative of the admittance by s at one s."""
        total = complex(self.ends[1])
        for log_omega, log_quality, log_inductance, skew in self.pairs:
            omega, damping = math.exp(log_omega), math.exp(-log_quality)
            x = s / omega
            below = x**2 + damping * x + 1
            total += (
                math.exp(-log_inductance - log_omega) / omega / below * (1 - (x + skew) * (2 * x + damping) / below)
            )
        if self.has_coil:
            total -= math.exp(self.ends[2]) / (s + math.exp(self.ends[3])) ** 2
        return total


def find_branches(frequency_hz: Samples, admittance_s: Complexes, *, least_quality: float = LEAST_QUALITY) -> Network:
    """Return the branches of an admittance.

    Parameters
    ----------
    frequency_hz : ndarray (n,)
        Rising [Hz].
    admittance_s : ndarray (n,) of complex
        [S], none of them 0.
    least_quality : float
        Quality factor from which on a pole pair is a resonance, dimensionless.

    Returns
    -------
    Network
        Frozen.

    Raises
    ------
    NoBranches
        The sweep has no maximum to start from, too few samples, or the fit leaves more than a tenth.

    Notes
    -----
    Y(s) = Σ (s + κ ω0)/(L (s² + s ω0/Q + ω0²)) + G0 + s C0, and a coil 1/(R + s L) beside it where the sweep begins
    inductive. The poles come from vector fitting; then all parameters are refined by least squares of the logarithm
    of the ratio, each sample weighed by its scatter. κ is 0 for R, L and C in series and is freed
    only where the samples ask for it, as for a reactor with a resistor beside it. Further pole pairs are tried only
    where neighbouring residuals are alike. Uncertainties are the fit's own covariance.
    """
    level = 20 * np.log10(np.abs(admittance_s))
    peaks = peak_frequencies(frequency_hz, level, noise_of(level))
    unit = 2 * math.pi * math.sqrt(float(frequency_hz[0]) * float(frequency_hz[-1]))
    s = 2j * math.pi * frequency_hz / unit
    scale = float(np.median(np.abs(admittance_s)))
    relative = admittance_s / scale
    has_coil = bool(relative[0].imag < 0)
    if not peaks and not has_coil:
        raise NoBranches("The admittance has no maximum inside the sweep, so no branch resonates in it.")
    if len(s) < 4 * (len(peaks) + 1):
        raise NoBranches(f"{len(s)} samples are too few for {len(peaks)} branches.")
    fit = _best_fit(s, relative, peaks, unit, has_coil=has_coil)
    if fit.residual > _WORST_RESIDUAL:
        raise NoBranches(
            f"The best fit by {len(fit.model.pairs)} pole pairs leaves {100 * fit.residual:.0f} % of the admittance: "
            "the sweep is not that of a few branches."
        )
    return _network(fit, frequency_hz, unit, scale, least_quality)


@dataclass(frozen=True)
class _Fit:
    model: _Model
    scatter: Scatter
    errors: Complexes
    residual: float
    likeness: float
    worst_place: int

    def improves(self, other: _Fit, share: float) -> bool:
        """Return whether the errors, weighted by the other fit's scatter, are below a share of the other's."""
        mine, others = (_weighted(one.errors, other.scatter.spread) for one in (self, other))
        return float(np.sum(np.abs(mine) ** 2)) < share * float(np.sum(np.abs(others) ** 2))


def _weighted(errors: Complexes, spread: Samples) -> Complexes:
    whole: Complexes = np.real(errors) / spread[: len(errors)] + 1j * np.imag(errors) / spread[len(errors) :]
    return whole


def _best_fit(s: Complexes, relative: Complexes, peaks: Sequence[float], unit: float, *, has_coil: bool) -> _Fit:
    poles = fitted_poles(s, relative, starting_poles(peaks, unit, has_real=has_coil))
    best = _refined(s, relative, _started(s, relative, poles, has_coil=has_coil))
    if best.likeness > _WHITE:
        skewed = _refined(s, relative, replace(best.model, is_skewed=True))
        if skewed.improves(best, _BETTER_SKEWED):
            best = skewed
    for _ in range(_MORE_PAIRS):
        if best.likeness <= _WHITE:
            break
        poles = fitted_poles(s, relative, np.append(poles, abs(s[best.worst_place]) * (-0.02 + 1j)))
        trial = _refined(s, relative, replace(_started(s, relative, poles, has_coil=has_coil), is_skewed=True))
        if not trial.improves(best, _BETTER_WITH_MORE):
            break
        best = trial
    return best


def _started(s: Complexes, relative: Complexes, poles: Complexes, *, has_coil: bool) -> _Model:
    """Return starting parameters: the poles' frequency and damping, and strengths by linear least squares."""
    pairs = [pole for pole in poles if pole.imag > 0]
    real = [-pole.real for pole in poles if pole.imag == 0] or [0.1 * abs(s[0])]
    omegas = [abs(pole) for pole in pairs]
    qualities = [max(abs(pole) / (-2 * pole.real), 0.1) if pole.real else 1e4 for pole in pairs]
    columns = [s / (s**2 + s * omega / quality + omega**2) for omega, quality in zip(omegas, qualities, strict=True)]
    columns += [np.ones_like(s), s, *([1 / (s + real[0])] if has_coil else [])]
    matrix = np.column_stack(columns) / relative[:, None]
    stacked = np.concatenate([matrix.real, matrix.imag])
    size = np.linalg.norm(stacked, axis=0)
    right = np.concatenate([np.ones(len(s)), np.zeros(len(s))])
    strengths = np.linalg.lstsq(stacked / size, right, rcond=None)[0] / size
    rows = [
        [math.log(omega), math.log(quality), -math.log(max(strength, 1e-12)), 0.0]
        for omega, quality, strength in zip(omegas, qualities, strengths, strict=False)
    ]
    ends = [*strengths[len(pairs) : len(pairs) + 2], 0.0, math.log(max(real[0], 1e-9))]
    if has_coil:
        ends[2] = math.log(max(float(strengths[-1]), 1e-12))
    return _Model(np.array(rows).reshape(-1, 4), np.array(ends), has_coil, is_skewed=False)


def _refined(s: Complexes, relative: Complexes, model: _Model) -> _Fit:
    """Return the model after damped least squares of logarithms, weighted by the scatter that the pass before left."""
    scatter, values = None, model.packed()
    for _ in range(_PASSES):
        spread = np.ones(2 * len(s)) if scatter is None else scatter.spread
        values = _descended(s, relative, model, values, spread)
        fitted = model.unpacked(values)
        errors, slopes = _errors(s, relative, fitted)
        magnitude = 1 / np.abs(fitted.value_and_slopes(s)[0])
        scatter = scatter_of(_stacked(errors), _stacked(slopes), magnitude, scatter)
        change = scatter.spread / spread
        if change.max() < _SETTLED * change.min():
            break
    assert scatter is not None
    residual = float(np.sqrt(np.mean(np.abs(errors) ** 2)))
    white = _weighted(errors, scatter.spread)
    worst = int(np.convolve(np.abs(white), np.ones(5) / 5, mode="same").argmax())
    return _Fit(fitted, scatter, errors, residual, _likeness(errors, white), worst)


def _stacked(values: Complexes) -> NDArray[np.float64]:
    """Return real parts above imaginary ones: of errors (2n,), of their derivatives (2n, k)."""
    return np.concatenate([np.real(values), np.imag(values)])


def _likeness(errors: Complexes, white: Complexes) -> float:
    """Return how alike neighbouring weighted residuals are, -1 to 1; 0 where only rounding is left."""
    if float(np.sum(np.abs(errors) ** 2)) < 1e-20 * len(errors):
        return 0.0
    return float(np.sum((white[1:] * white[:-1].conjugate()).real)) / float(np.sum(np.abs(white) ** 2))


def _errors(s: Complexes, relative: Complexes, model: _Model) -> tuple[Complexes, Complexes]:
    value, slopes = model.value_and_slopes(s)
    return np.log(value / relative), slopes / value[:, None]


def _descended(s: Complexes, relative: Complexes, model: _Model, values: Samples, spread: Samples) -> Samples:
    def looked_at(at: Samples) -> tuple[float, NDArray[np.float64], NDArray[np.float64]]:
        errors, slopes = _errors(s, relative, model.unpacked(at))
        left = _stacked(errors) / spread
        return float(left @ left), left, _stacked(slopes) / spread[:, None]

    cost, left, slopes = looked_at(values)
    damping = 1e-3
    for _ in range(_STEPS):
        normal = slopes.T @ slopes
        step = np.linalg.lstsq(normal + damping * np.diag(np.diag(normal)), -slopes.T @ left, rcond=None)[0]
        step = np.clip(step, -1.0, 1.0)
        trial_cost, trial_left, trial_slopes = looked_at(values + step)
        if math.isfinite(trial_cost) and trial_cost <= cost:
            is_done = cost - trial_cost <= 1e-10 * cost or trial_cost < 1e-22 * len(s)
            values, cost, left, slopes = values + step, trial_cost, trial_left, trial_slopes
            damping = max(damping / 10, 1e-14)
            if is_done:
                break
        else:
            damping *= 10
            if damping > 1e8:
                break
    return values


def _network(fit: _Fit, frequency_hz: Samples, unit: float, scale: float, least_quality: float) -> Network:
    width = 4 if fit.model.is_skewed else 3
    found = [_branch(row, fit.scatter, place * width, unit, scale) for place, row in enumerate(fit.model.pairs)]
    found.sort(key=lambda branch: branch.resonance_hz.value)
    low, high = float(frequency_hz[0]), float(frequency_hz[-1])
    resonant = [
        branch
        for branch in found
        if low <= branch.resonance_hz.value <= high
        and branch.quality_factor.value >= least_quality
        and branch.is_determined
    ]
    ends = fit.model.ends
    coil = (math.exp(ends[2]) * scale * unit, math.exp(ends[3]) * unit) if fit.model.has_coil else (0.0, 0.0)
    network = Network(
        tuple(resonant),
        tuple(branch for branch in found if branch not in resonant),
        (),
        float(ends[0]) * scale,
        float(ends[1]) * scale / unit,
        coil,
        fit.residual,
        20 / math.log(10) * float(np.median(fit.scatter.spread[: len(frequency_hz)])),
        math.degrees(float(np.median(fit.scatter.spread[len(frequency_hz) :]))),
    )
    zeros = _zeros(network, low, high, least_quality)
    return replace(network, parallel=tuple(_parallel(fit, zero, unit) for zero in zeros))


def _parallel(fit: _Fit, zero: complex, unit: float) -> Estimate:
    """Return the frequency [Hz] of a zero s of the admittance [rad/s].

    Y(s, θ) = 0 moves by ds = -(∂Y/∂θ · dθ)/(∂Y/∂s), and |s| by the part of ds along s.
    """
    s = zero / unit
    _, by_parameters = fit.model.value_and_slopes(np.array([s]))
    moves = -by_parameters[0] / fit.model.slope(s)
    direction = np.real(moves * s.conjugate()) / abs(s)
    variance = max(float(direction @ fit.scatter.inverse @ direction), 0.0)
    hertz = unit / (2 * math.pi)
    return Estimate(abs(s) * hertz, math.sqrt(variance) * hertz, fit.scatter.freedom(direction))


def _branch(row: Samples, scatter: Scatter, first: int, unit: float, scale: float) -> Branch:
    """Return the branch whose parameters stand in a row, and from place `first` on among the fit's."""
    omega, quality, inductance = (math.exp(one) for one in row[:3])
    resonance_hz, henry = omega * unit / (2 * math.pi), inductance / (scale * unit)
    # Logarithms of f0, Q, L, C = 1/(ω0² L) and R = ω0 L/Q by those of ω0, Q and L.
    logs = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [-2, 0, -1], [1, -1, 1]], dtype=float)
    ways = np.zeros((len(logs), len(scatter.inverse)))
    ways[:, first : first + 3] = logs
    shares = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", ways, scatter.inverse, ways), 0.0))
    freedoms = [scatter.freedom(way) for way in ways]
    values = (
        resonance_hz,
        quality,
        henry * 1e3,
        1e6 / ((omega * unit) ** 2 * henry),
        omega * unit * henry / quality,
    )
    estimates = (Estimate(*one) for one in zip(values, (values * shares).tolist(), freedoms, strict=True))
    resonance, q, coil, capacitor, resistor = estimates
    return Branch(resonance, q, coil, capacitor, resistor, skew=float(row[3]))


def _zeros(network: Network, low_hz: float, high_hz: float, least_quality: float) -> list[complex]:
    """Return the zeros of the fitted admittance that resonate [rad/s], from its numerator's roots, in rising order."""
    unit = 2 * math.pi * math.sqrt(low_hz * high_hz)
    terms: list[tuple[NDArray[np.float64], NDArray[np.float64]]] = []
    for branch in (*network.branches, *network.broad):
        omega = 2 * math.pi * branch.resonance_hz.value / unit
        strength = 1 / (branch.inductance_mh.value * 1e-3 * unit)
        below = np.array([1.0, omega / branch.quality_factor.value, omega**2])
        terms.append((strength * np.array([1.0, branch.skew * omega]), below))
    if network.coil[0]:
        terms.append((np.array([network.coil[0] / unit]), np.array([1.0, network.coil[1] / unit])))
    numerator = np.array([network.capacitance_f * unit, network.conductance_s])
    whole = _product([below for _, below in terms])
    total = np.polymul(numerator, whole)
    for place, (above, _) in enumerate(terms):
        others = _product([below for other, (_, below) in enumerate(terms) if other != place])
        total = np.polyadd(total, np.polymul(above, others))
    roots = np.roots(np.trim_zeros(total, "f"))
    upper = roots[roots.imag > 0]
    quality = np.abs(upper) / np.maximum(2 * np.abs(upper.real), 1e-300)
    hertz = np.abs(upper) * unit / (2 * math.pi)
    kept = upper[(quality >= least_quality) & (hertz >= low_hz) & (hertz <= high_hz)]
    return sorted((complex(one) * unit for one in kept), key=abs)


def _product(polynomials: Sequence[NDArray[np.float64]]) -> NDArray[np.float64]:
    whole: NDArray[np.float64] = np.ones(1)
    for one in polynomials:
        whole = np.asarray(np.polymul(whole, one), dtype=np.float64)
    return whole
