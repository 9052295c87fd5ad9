"""Poles of an admittance by vector fitting: the poles of a rational function are moved until they fit."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from records.evaluation.sweep.responses import Complexes
from records.readers.recording import Samples

_ROUNDS = 6
_SETTLED = 1e-3  # relative: the poles are refined afterwards
_PROMINENCE_DB = 1.0
_OF_END = 4.0  # standard deviations by which a maximum stands above an end of the sweep


def peak_frequencies(frequency_hz: Samples, level_db: Samples, noise_db: float) -> list[float]:
    """Return the frequencies [Hz] of maxima that stand out of the noise by their prominence, in rising order.

    Parameters
    ----------
    frequency_hz, level_db : ndarray (n,)
        Rising frequencies [Hz] and the magnitude of the admittance [dB].
    noise_db : float
        Standard deviation of one sample [dB]; a maximum must stand out by 8 of them, and by 1 dB; where the sweep ends
        on its flank, by 4 of them: noise on a flank that rises to the end makes none.

    Returns
    -------
    list of float
        For starting poles only; a resonance is what the fit says.
    """
    lowest = [level_db.min()]
    padded = np.concatenate([lowest, level_db, lowest])
    places, _ = find_peaks(padded, prominence=max(_PROMINENCE_DB, 8 * noise_db))
    inside = set((find_peaks(level_db, prominence=_OF_END * noise_db)[0] + 1).tolist())
    return [float(frequency_hz[place - 1]) for place in places.tolist() if place in inside]


def noise_of(level_db: Samples) -> float:
    """Return the standard deviation of one sample [dB] from the bends between neighbours, robust against peaks."""
    bends = np.diff(level_db, 2)
    return float(np.median(np.abs(bends))) / (0.6745 * math.sqrt(6)) if len(bends) else 0.0


def starting_poles(frequencies_hz: Sequence[float], unit_rad: float, *, has_real: bool) -> Complexes:
    """Return starting poles, one of each pair, relative to a unit of angular frequency [rad/s].

    Weakly damped, as vector fitting wants them: p = (-1/50 + j) ω. A real one lies a decade below the lowest.
    """
    pairs = [2 * math.pi * one / unit_rad * (-0.02 + 1j) for one in frequencies_hz]
    lowest = min((abs(one) for one in pairs), default=1.0)
    return np.array([*pairs, *([-0.1 * lowest + 0j] if has_real else [])], dtype=np.complex128)


def fitted_poles(s: Complexes, admittance: Complexes, poles: Complexes, size: Complexes) -> Complexes:
    """Return the poles after vector fitting, stable ones, one of each pair.

    Parameters
    ----------
    s : ndarray (n,) of complex
        jω relative to the unit that the poles are in.
    admittance : ndarray (n,) of complex
        Any unit.
    poles : ndarray (m,) of complex
        Starting poles: complex ones stand for their pair, real ones for themselves.
    size : ndarray (n,) of complex
        Of the error of each sample, in the unit of the admittance: the admittance itself for relative errors.

    Returns
    -------
    ndarray (k,) of complex
        As many poles in all; two real ones may have become a pair and the other way round.

    Notes
    -----
    In each round σ(s) Y(s) and σ(s) share the poles known so far, and the zeros of σ, the eigenvalues of A - b c, are
    the next poles. Linear least squares only, columns scaled.

    References
    ----------
    B. Gustavsen, A. Semlyen, Rational approximation of frequency domain responses by vector fitting, IEEE Trans. Power
    Delivery 14(3), 1999 (from memory).
    """
    for _ in range(_ROUNDS):
        moved = _moved(s, admittance, poles, size)
        if len(moved) == len(poles) and np.abs(np.sort(moved) - np.sort(poles)).max() < _SETTLED * np.abs(moved).max():
            return moved
        poles = moved
    return poles


def _basis(s: Complexes, poles: Complexes) -> Complexes:
    columns = []
    for pole in poles:
        if pole.imag == 0:
            columns.append(1 / (s - pole.real))
        else:
            one, other = 1 / (s - pole), 1 / (s - pole.conjugate())
            columns += [one + other, 1j * (one - other)]
    return np.column_stack(columns)


def _moved(s: Complexes, admittance: Complexes, poles: Complexes, size: Complexes) -> Complexes:
    basis = _basis(s, poles)
    relative = basis / size[:, None]
    ends = np.column_stack([1 / size, s / size])
    aim = admittance / size
    matrix = np.concatenate([relative, ends, -basis * aim[:, None]], axis=1)
    stacked = np.concatenate([matrix.real, matrix.imag])
    right = np.concatenate([aim.real, aim.imag])
    scale = np.linalg.norm(stacked, axis=0)
    scale[scale == 0] = 1.0
    # σ Y = Σ c φ + d + e s with σ = 1 + Σ c̃ φ, all divided by the size of its error.
    stacked /= scale
    solution = np.linalg.lstsq(stacked.T @ stacked, stacked.T @ right, rcond=1e-14)[0] / scale
    return _zeros(poles, solution[-basis.shape[1] :])


def _zeros(poles: Complexes, weights: Samples) -> Complexes:
    """Return the zeros of 1 + Σ c φ as stable poles, one of each pair."""
    size = len(weights)
    matrix, column = np.zeros((size, size)), np.zeros(size)
    place = 0
    for pole in poles:
        if pole.imag == 0:
            matrix[place, place], column[place] = pole.real, 1.0
            place += 1
        else:
            block: NDArray[np.float64] = np.array([[pole.real, pole.imag], [-pole.imag, pole.real]])
            matrix[place : place + 2, place : place + 2], column[place] = block, 2.0
            place += 2
    roots = np.linalg.eigvals(matrix - np.outer(column, weights)).astype(np.complex128)
    stable = -np.abs(roots.real) + 1j * roots.imag
    kept = [one for one in stable if one.imag >= 0]
    return np.array([complex(one.real, one.imag if one.imag > 1e-9 * abs(one) else 0.0) for one in kept])
