"""What a sweep measures of an admittance: with or without its phase, alone or through a resistance in series."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import oaconvolve

from records.evaluation.sweep.poles import noise_of
from records.evaluation.sweep.responses import Complexes
from records.readers.recording import Samples

_FAR = 7.0  # of the logarithm of frequency: how far a slope beyond the sweep is looked at
_END_SHARE = 0.04  # of the samples, at each end, that tell the slope beyond it
_MOST_CELLS = 4096
_CLEAR = 30.0  # standard deviations of noise: an object of less impedance than they would be is not looked at alone


@dataclass(frozen=True)
class Observed:
    """Samples of one sweep, frequencies and admittances in units of their own.

    Attributes
    ----------
    s : ndarray (n,) of complex
        jω.
    through : ndarray (n,) of complex
        Admittance of the object and of what lies in series with it; without a measured phase it has the least phase
        that goes with its magnitude, which is where a fit may start and nothing more.
    series : float
        Resistance in series with the object; 0 where the object was measured alone.
    has_phase : bool
        Whether the phase was measured.
    scale : ndarray (n,)
        An error of the measured magnitudes that all samples share, relative.
    """

    s: Complexes
    through: Complexes
    scale: Samples
    series: float = 0.0
    has_phase: bool = True

    def only(self, counted: NDArray[np.bool_]) -> Observed:
        """Return those samples (n,) that count."""
        return replace(self, s=self.s[counted], through=self.through[counted], scale=self.scale[counted])

    @property
    def admittance(self) -> Complexes:
        """Admittance of the object alone, W/(1 - W R) of the W through a resistance R in series."""
        return self.through / (1 - self.through * self.series) if self.series else self.through

    @property
    def size(self) -> Complexes:
        """What a relative error of `through` is multiplied by to be an error of `admittance`."""
        return self.admittance * (1 + self.admittance * self.series) if self.series else self.admittance

    def level_db(self) -> tuple[Samples, float]:
        """Return the magnitude of the object's admittance [dB], and the greatest standard deviation of a sample [dB].

        Where the resistance in series hides the object, the level goes no higher than the noise lets be told.
        """
        level = 20 * np.log10(np.abs(self.through))
        noise_db = noise_of(level)
        if self.series:
            alone, whole = np.abs(1 / self.through - self.series), np.abs(1 / self.through)
            told = np.maximum(alone, _CLEAR * noise_db * math.log(10) / 20 * whole)
            level, noise_db = -20 * np.log10(told), noise_db * float(np.max(whole / told))
        return np.asarray(level, dtype=np.float64), noise_db

    def errors(self, admittance: Complexes, slopes: Complexes) -> tuple[Samples, NDArray[np.float64]]:
        """Return relative errors of a fitted admittance, and their derivatives.

        Parameters
        ----------
        admittance : ndarray (n,) of complex
            Of the object alone.
        slopes : ndarray (n, k) of complex
            Its derivatives.

        Returns
        -------
        ndarray (2 n,) or (n,), ndarray (2 n, k) or (n, k)
            Logarithm of fitted by measured, magnitude above phase, or magnitude alone, dimensionless.
        """
        through = 1 + admittance * self.series
        errors = np.log(admittance / (through * self.through))
        by = slopes / (admittance * through)[:, None]
        if not self.has_phase:
            return np.asarray(errors.real), np.asarray(by.real)
        return np.concatenate([errors.real, errors.imag]), np.concatenate([by.real, by.imag])

    def impedance(self, admittance: Complexes) -> Samples:
        """Return the magnitude of the impedance that was measured, by a fitted admittance of the object (n,)."""
        return np.asarray(np.abs(1 / admittance + self.series), dtype=np.float64)

    def with_phase_of(self, admittance: Complexes) -> Observed:
        """Return the same samples; where no phase was measured, with that of a fitted admittance of the object (n,)."""
        if self.has_phase:
            return self
        fitted = admittance / (1 + admittance * self.series)
        return replace(self, through=np.abs(self.through) * np.exp(1j * np.angle(fitted)))


def least_phase(frequency_hz: Samples, magnitude: Samples) -> Samples:
    """Return the phase of a response without zeros or poles in the right half-plane, from its magnitude.

    Parameters
    ----------
    frequency_hz : ndarray (n,)
        Rising [Hz].
    magnitude : ndarray (n,)
        Above 0 [any unit].

    Returns
    -------
    ndarray (n,)
        [rad].

    Notes
    -----
    φ(u0) = 1/π ∫ dA/du ln coth(|u - u0|/2) du with A = ln magnitude, u = ln f. An admittance of resistors, coils and
    capacitors is of this kind, alone and with a resistor in series, because its real part is nowhere below 0. Beyond
    the sweep A goes on by the slope that it has at its ends, at most that of one coil or capacitor; near the ends the
    phase is therefore only an estimate.

    References
    ----------
    H. W. Bode, Network Analysis and Feedback Amplifier Design, 1945, chapter 14 (from memory).
    """
    u, level = np.log(frequency_hz), np.log(magnitude)
    count = min(len(u), _MOST_CELLS)
    width = float(u[-1] - u[0]) / count
    edges = np.linspace(u[0], u[-1], count + 1)
    inside = np.diff(np.interp(edges, u, level)) / width
    beyond = math.ceil(_FAR / width)
    below, above = (_end_slope(u, level, is_last=is_last) for is_last in (False, True))
    slopes = np.concatenate([np.full(beyond, below), inside, np.full(beyond, above)])
    distance = width * np.abs(np.arange(-beyond, beyond + 1))
    distance[beyond] = 1.0
    kernel = -np.log(np.tanh(distance / 2))
    kernel[beyond] = 1 - math.log(width / 4)  # mean of ln coth over the cell itself
    kernel *= (math.pi**2 / 2) / float(kernel.sum())  # its whole integral, so that a straight line gets its exact phase
    phase = oaconvolve(slopes, kernel, mode="valid") / math.pi
    return np.asarray(np.interp(u, (edges[1:] + edges[:-1]) / 2, phase), dtype=np.float64)


def _end_slope(u: Samples, level: Samples, *, is_last: bool) -> float:
    count = max(5, round(_END_SHARE * len(u)))
    part = slice(-count, None) if is_last else slice(0, count)
    x, y = u[part] - u[part].mean(), level[part] - level[part].mean()
    return float(np.clip((x @ y) / (x @ x), -1.0, 1.0))
