"""Branches of a filter from its admittance: each branch's resonance, quality factor, inductance, with covariance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from equipment.metrology.propagation import coverage_factor
from records.evaluation.estimating import COVERAGE_PROBABILITY
from records.evaluation.sweep.fitting import Fit, best_fit, refined
from records.evaluation.sweep.observing import Observed, least_phase
from records.evaluation.sweep.poles import peak_frequencies
from records.evaluation.sweep.responses import Complexes
from records.evaluation.usual import USUAL
from records.readers.recording import Samples

LEAST_QUALITY = USUAL["least_quality_factor"].value
"""Quality factor below which a pair of poles is a broad hump and no resonance."""

_LEAST_KNOWN = 0.5
_LEAST_KNOWN_THROUGH = (
    0.3  # by a magnitude through a resistance: beyond, intervals are no longer those of a straight line
)
_NO_DAMPING = 1e-12
_WORST_RESIDUAL = 0.1  # relative: a fit that leaves more describes nothing


class NoBranches(ValueError):
    """No few pole pairs describe the sweep; the message says what is wrong."""


@dataclass(frozen=True)
class Estimate:
    """A value and its standard uncertainty from noise, both in one unit, with the degrees of freedom of the latter.

    `by_scale` [same unit] is what an error of all measured magnitudes alike, of the size that the fit was given, moves
    the value by.
    """

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float = math.inf
    by_scale: float = 0.0

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
        return self.is_known_to(_LEAST_KNOWN)

    def is_known_to(self, share: float) -> bool:
        """Return whether quality factor and inductance have a standard uncertainty below a share of themselves."""
        return all(one.standard_uncertainty < share * one.value for one in (self.quality_factor, self.inductance_mh))

    @property
    def characteristic_ohm(self) -> float:
        """√(L/C) [Ω], what coil and capacitor have each at resonance."""
        return math.sqrt(1e3 * self.inductance_mh.value / self.capacitance_uf.value)

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
        Standard deviations of the residuals in magnitude [dB] and phase [°], of the median sample; the latter 0 where
        no phase was measured.
    is_hidden : bool
        Whether a resistance in series leaves too little to be seen of a branch, so that none is told.
    widened : float
        By how much uncertainties are greater because neighbouring errors are alike, at least 1.
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
    is_hidden: bool = False
    widened: float = 1.0

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


def find_branches(
    frequency_hz: Samples,
    admittance_s: Complexes,
    *,
    series_ohm: float = 0.0,
    has_phase: bool = True,
    counted: NDArray[np.bool_] | None = None,
    scale: Samples | None = None,
    least_quality: float = LEAST_QUALITY,
) -> Network:
    """Return the branches of an admittance.

    Parameters
    ----------
    frequency_hz : ndarray (n,)
        Rising [Hz].
    admittance_s : ndarray (n,) of complex
        As measured, of the object and of what lies in series with it [S], none of them 0.
    series_ohm : float
        Resistance that lies in series with the object, as one that its current is measured by [Ω].
    has_phase : bool
        Whether the phase was measured; else only the magnitude of the admittance is looked at.
    counted : ndarray (n,) of bool, optional
        Samples that the parameters rest on; the others only help to find where the fit begins. All by default.
    scale : ndarray (n,), optional
        Relative error of the magnitudes that all samples share, for `Estimate.by_scale`; 1 by default.
    least_quality : float
        Quality factor from which on a pole pair is a resonance, dimensionless.

    Returns
    -------
    Network
        Frozen, of the object alone.

    Raises
    ------
    NoBranches
        The sweep has no maximum to start from, too few samples, or the fit leaves more than a tenth.

    Notes
    -----
    Y(s) = Σ (s + κ ω0)/(L (s² + s ω0/Q + ω0²)) + G0 + s C0, and a coil 1/(R + s L) beside it where the sweep begins
    inductive. The poles come from vector fitting; then all parameters are refined by least squares of the logarithm
    of the ratio of Y/(1 + Y R) to what was measured through the resistance R, each sample weighed by its scatter; of
    its real part alone where no phase was measured. κ is 0 for R, L and C in series and is freed
    only where the samples ask for it, as for a reactor with a resistor beside it. Further pole pairs are tried only
    where neighbouring residuals are alike. Uncertainties are the fit's own covariance, widened by the serial
    correlation of what is left, where there is any.

    A circuit of resistors, coils and capacitors has one admittance only to a magnitude: `least_phase` starts the fit.
    """
    unit = 2 * math.pi * math.sqrt(float(frequency_hz[0]) * float(frequency_hz[-1]))
    size = float(np.median(np.abs(admittance_s)))
    relative = admittance_s / size
    if not has_phase:
        relative = np.abs(relative) * np.exp(1j * least_phase(frequency_hz, np.abs(relative)))
    errors = np.ones(len(frequency_hz)) if scale is None else scale
    observed = Observed(2j * math.pi * frequency_hz / unit, relative, errors, series_ohm * size, has_phase)
    peaks = peak_frequencies(frequency_hz, *observed.level_db())
    has_coil = bool(observed.admittance[0].imag < 0)
    if not peaks and not has_coil:
        raise NoBranches("The admittance has no maximum inside the sweep, so no branch resonates in it.")
    kept = np.ones(len(frequency_hz), dtype=bool) if counted is None else counted
    if np.count_nonzero(kept) < 4 * (len(peaks) + 1):
        raise NoBranches(f"{np.count_nonzero(kept)} samples are too few for {len(peaks)} branches.")
    fit = best_fit(observed, peaks, unit, has_coil=has_coil)
    if not kept.all():
        fit = refined(observed.only(kept), fit.model)
    if fit.residual > _WORST_RESIDUAL:
        raise NoBranches(
            f"The best fit by {_pairs(len(fit.model.pairs))} leaves {100 * fit.residual:.0f} % of the admittance: "
            "the sweep is not that of a few branches."
        )
    network = _network(fit, frequency_hz, unit, size, least_quality)
    return network if has_phase or not series_ohm else _told_together(network, frequency_hz, least_quality)


def _pairs(count: int) -> str:
    return "one pole pair" if count == 1 else f"{count} pole pairs"


def _network(fit: Fit, frequency_hz: Samples, unit: float, size: float, least_quality: float) -> Network:
    width = 4 if fit.model.is_skewed else 3
    found = [_branch(row, fit, place * width, unit, size) for place, row in enumerate(fit.model.pairs)]
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
    coil = (math.exp(ends[2]) * size * unit, math.exp(ends[3]) * unit) if fit.model.has_coil else (0.0, 0.0)
    network = Network(
        tuple(resonant),
        tuple(branch for branch in found if branch not in resonant),
        (),
        float(ends[0]) * size,
        float(ends[1]) * size / unit,
        coil,
        fit.residual,
        fit.noise_db,
        fit.noise_deg,
        widened=fit.widened,
    )
    zeros = _zeros(network, low, high, least_quality)
    return replace(network, parallel=tuple(_parallel(fit, zero, unit) for zero in zeros))


def _told_together(network: Network, frequency_hz: Samples, least_quality: float) -> Network:
    """Return the network without branches where one of them is hardly known: what it lacks, the others have taken."""
    inside = [
        branch
        for branch in (*network.branches, *network.broad)
        if frequency_hz[0] <= branch.resonance_hz.value <= frequency_hz[-1]
    ]
    is_hidden = any(
        not branch.is_known_to(_LEAST_KNOWN_THROUGH)
        for branch in inside
        if not 0 < branch.quality_factor.value + 2 * branch.quality_factor.standard_uncertainty < least_quality
    )
    if not is_hidden:
        return network
    everything = sorted((*network.branches, *network.broad), key=lambda branch: branch.resonance_hz.value)
    return replace(network, branches=(), broad=tuple(everything), is_hidden=True)


def _parallel(fit: Fit, zero: complex, unit: float) -> Estimate:
    """Return the frequency [Hz] of a zero s of the admittance [rad/s].

    Y(s, θ) = 0 moves by ds = -(∂Y/∂θ · dθ)/(∂Y/∂s), and |s| by the part of ds along s.
    """
    s = zero / unit
    _, by_parameters = fit.model.value_and_slopes(np.array([s]))
    moves = -by_parameters[0] / fit.model.slope(s)
    direction = np.real(moves * s.conjugate()) / abs(s)
    variance = max(float(direction @ fit.scatter.inverse @ direction), 0.0)
    hertz = unit / (2 * math.pi)
    moved = float(direction @ fit.by_scale) * hertz
    return Estimate(abs(s) * hertz, math.sqrt(variance) * hertz, fit.scatter.freedom(direction), moved)


def _branch(row: Samples, fit: Fit, first: int, unit: float, size: float) -> Branch:
    """Return the branch whose parameters stand in a row, and from place `first` on among the fit's."""
    omega, damping, inductance = math.exp(row[0]), float(row[1]) or _NO_DAMPING, math.exp(row[2])
    resonance_hz, henry = omega * unit / (2 * math.pi), inductance / (size * unit)
    values = np.array(
        [
            resonance_hz,
            1 / damping,
            henry * 1e3,
            1e6 / ((omega * unit) ** 2 * henry),
            omega * unit * henry * damping,
        ]
    )
    # Relative changes of f0, Q, L, C = 1/(ω0² L) and R = ω0 L/Q by those of ω0, 1/Q and L.
    by = np.array([[1, 0, 0], [0, -1 / damping, 0], [0, 0, 1], [-2, 0, -1], [1, 1 / damping, 1]])
    ways = np.zeros((len(by), len(fit.scatter.inverse)))
    ways[:, first : first + 3] = by
    shares = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", ways, fit.scatter.inverse, ways), 0.0))
    freedoms = [fit.scatter.freedom(way) for way in ways]
    moved = values * (ways @ fit.by_scale)
    told = zip(values.tolist(), (np.abs(values) * shares).tolist(), freedoms, moved.tolist(), strict=True)
    resonance, quality, coil, capacitor, resistor = (Estimate(*one) for one in told)
    return Branch(resonance, quality, coil, capacitor, resistor, skew=float(row[3]))


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
