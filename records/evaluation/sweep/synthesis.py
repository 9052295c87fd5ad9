"""Sweeps whose branches are known by construction, for tests and for the demonstration laboratory."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from records.evaluation.sweep.responses import Complexes
from records.readers.recording import Recording, Samples


@dataclass(frozen=True)
class SeriesBranch:
    """R, L and C in series: R [Ω], L [mH], C [µF]."""

    resistance_ohm: float
    inductance_mh: float
    capacitance_uf: float

    @classmethod
    def tuned(cls, resonance_hz: float, quality_factor: float, inductance_mh: float) -> SeriesBranch:
        """Return the branch of a resonance [Hz], a quality factor and an inductance [mH]."""
        omega, henry = 2 * math.pi * resonance_hz, inductance_mh * 1e-3
        return cls(omega * henry / quality_factor, inductance_mh, 1e6 / (omega**2 * henry))

    @property
    def resonance_hz(self) -> float:
        """1/(2π√(LC)) [Hz]."""
        return 1 / (2 * math.pi * math.sqrt(self.inductance_mh * 1e-3 * self.capacitance_uf * 1e-6))

    @property
    def quality_factor(self) -> float:
        """√(L/C)/R, dimensionless."""
        return math.sqrt(self.inductance_mh * 1e-3 / (self.capacitance_uf * 1e-6)) / self.resistance_ohm

    def impedance(self, frequency_hz: Samples) -> Complexes:
        """Return R + jωL + 1/(jωC) [Ω] at frequencies [Hz], an ndarray (n,) of complex."""
        s = 2j * math.pi * frequency_hz
        whole: Complexes = self.resistance_ohm + s * self.inductance_mh * 1e-3 + 1 / (s * self.capacitance_uf * 1e-6)
        return whole


def impedance_of(frequency_hz: Samples, branches: Sequence[SeriesBranch], *, stray_uf: float = 0.0) -> Complexes:
    """Return the impedance [Ω] of branches in parallel, with a stray capacitance [µF] beside them."""
    admittance: Complexes = 2j * math.pi * frequency_hz * stray_uf * 1e-6
    for branch in branches:
        admittance = admittance + 1 / branch.impedance(frequency_hz)
    return 1 / admittance


def synthesise_sweep(
    branches: Sequence[SeriesBranch],
    *,
    seed: int,
    points: int = 2000,
    range_hz: tuple[float, float] = (50.0, 5000.0),
    noise_db: float = 0.0,
    noise_deg: float = 0.0,
    stray_uf: float = 0.0,
    is_complex: bool = False,
) -> Recording:
    """Return a sweep of branches in parallel over frequencies that are even on a logarithmic axis.

    Parameters
    ----------
    branches : sequence of SeriesBranch
        At least one.
    seed : int
        Of the noise; the same seed gives the same record.
    points : int
        Number of samples.
    range_hz : tuple of float
        First and last frequency [Hz].
    noise_db, noise_deg : float
        Standard deviations of magnitude [dB] and phase [°].
    stray_uf : float
        Capacitance beside the branches [µF].
    is_complex : bool
        Whether real and imaginary part are written rather than magnitude and phase.

    Returns
    -------
    Recording
        With an empty time axis, ``frequency_hz`` and the impedance.
    """
    chance = np.random.default_rng(seed)
    frequency = np.geomspace(*range_hz, points)
    impedance = impedance_of(frequency, branches, stray_uf=stray_uf)
    magnitude = np.abs(impedance) * 10 ** (noise_db / 20 * chance.standard_normal(points))
    phase = np.degrees(np.angle(impedance)) + noise_deg * chance.standard_normal(points)
    if is_complex:
        noisy = magnitude * np.exp(1j * np.radians(phase))
        channels = {"impedance_real_ohm": noisy.real.copy(), "impedance_imag_ohm": noisy.imag.copy()}
    else:
        channels = {"impedance_ohm": magnitude, "phase_deg": phase}
    return Recording(np.empty(0), {"frequency_hz": frequency, **channels})
