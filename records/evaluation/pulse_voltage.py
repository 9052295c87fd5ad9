"""The voltage behind a list of pulses: computed from the list, taken from a second record, stated, or not known."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from records.evaluation.usual import USUAL
from records.readers.recording import Samples

BLOCK_S = 0.2
_LEAST_SINE = 0.3
_MOST_RESIDUAL = 0.05
_STRONG_SHARE, _LEAST_AGREEING = 0.2, 0.9
_QUIET_SHARE = 0.03  # of the greatest level: at most this is taken as no voltage
_FIT_BLOCK_S, _LONGEST_BLOCK_S, _LEAST_PULSES = 0.4, 2.0, 8
_SCAN_HZ = USUAL["frequency_hz"].bounds
_SCAN_S = 4.0


@dataclass(frozen=True)
class PulseVoltage:
    """The r.m.s. voltage over time as a list of pulses tells it.

    Attributes
    ----------
    time_s, voltage_kv : ndarray (m,)
        Middle of each block that could be computed [s] and r.m.s. voltage in it, crest/√2 [kV]. Empty where none could.
    phase_deg : ndarray (n,) or None
        Phase of each pulse [°], where it could be told; NaN for the pulses of blocks in which it could not.
    instantaneous_kv : ndarray (n,) or None
        Test voltage at each pulse [kV], where the list has it.
    words : str
        How it was computed, or why it could not be.
    """

    time_s: Samples
    voltage_kv: Samples
    phase_deg: Samples | None
    instantaneous_kv: Samples | None
    words: str


_NONE: Samples = np.zeros(0)


def voltage_of_pulses(time_s: Samples, phase_deg: Samples | None, instantaneous_kv: Samples | None) -> PulseVoltage:
    """Return the voltage that a list of pulses tells by itself.

    Parameters
    ----------
    time_s : ndarray (n,)
        Times of the pulses [s], never falling.
    phase_deg : ndarray (n,) or None
        Phase of each, from the rising zero [°].
    instantaneous_kv : ndarray (n,) or None
        Test voltage at the moment of each [kV].

    Returns
    -------
    PulseVoltage
        With phase and voltage the crest follows from u = Û sin φ, block by block of 0.2 s. With voltage alone a sine of
        45 to 65 Hz is fitted to the pulses of each 0.4 s, or up to 2 s where they are few. With phase alone nothing is
        known of the voltage: nothing is guessed.

    Notes
    -----
    A block counts only where the pulses agree with the sine within 5 % of its crest (root mean square), and where phase
    and voltage disagree in more than a tenth of the blocks with voltage, none counts.
    """
    if instantaneous_kv is None:
        words = "The list of pulses carries their phase and no voltage."
        return PulseVoltage(_NONE, _NONE, phase_deg, None, words)
    if phase_deg is None:
        return _fitted(time_s, instantaneous_kv)
    sines = np.sin(np.radians(phase_deg))
    strong = np.abs(sines) >= _LEAST_SINE
    times, crests = _crest_by_block(time_s[strong], sines[strong], instantaneous_kv[strong])
    if not len(times):
        words = "Phase and instantaneous voltage of the pulses do not belong to one sine, so the voltage is not known."
        return PulseVoltage(_NONE, _NONE, phase_deg, instantaneous_kv, words)
    words = "The voltage was computed from phase and instantaneous voltage of the pulses, as crest/√2."
    return PulseVoltage(times, crests / math.sqrt(2), phase_deg, instantaneous_kv, words)


def _crest_by_block(time_s: Samples, sines: Samples, voltage: Samples) -> tuple[Samples, Samples]:
    if not len(time_s):
        return _NONE, _NONE
    blocks = np.floor((time_s - time_s[0]) / BLOCK_S).astype(np.int64)
    firsts = np.flatnonzero(np.concatenate(([True], np.diff(blocks) > 0)))
    counts = np.diff(np.append(firsts, len(blocks)))
    squares = np.add.reduceat(sines * sines, firsts)
    crests = np.add.reduceat(sines * voltage, firsts) / squares
    wrong = voltage - np.repeat(crests, counts) * sines
    residual = np.sqrt(np.add.reduceat(wrong * wrong, firsts) / counts)
    good = (crests >= 0) & (residual <= np.maximum(_MOST_RESIDUAL * crests, 1e-9 * np.abs(crests).max(initial=0.0)))
    level = np.sqrt(np.add.reduceat(voltage * voltage, firsts) / counts)
    crests, good = _with_quiet(crests, good, level)
    strong = level > _STRONG_SHARE * float(level.max(initial=0.0))
    if np.count_nonzero(good & strong) < _LEAST_AGREEING * np.count_nonzero(strong):
        return _NONE, _NONE
    return np.add.reduceat(time_s, firsts)[good] / counts[good], crests[good]


def _with_quiet(crests: Samples, good: NDArray[np.bool_], level: Samples) -> tuple[Samples, NDArray[np.bool_]]:
    """Count blocks with hardly any voltage too: noise hides their sine, and their crest is no more than their level."""
    quiet = level <= _QUIET_SHARE * float(level.max(initial=0.0))
    return np.where(quiet, math.sqrt(2) * level, crests), good | quiet


def _fitted(time_s: Samples, voltage: Samples) -> PulseVoltage:
    """Fit a sine of one frequency to instantaneous voltages, with its own crest and phase in each block."""
    frequency = _frequency(time_s, voltage)
    if frequency is None:
        words = (
            "The list carries the instantaneous voltage of the pulses and not their phase, and no sine of "
            f"{_SCAN_HZ[0]:g} to {_SCAN_HZ[1]:g} Hz passes through it: the voltage is not known."
        )
        return PulseVoltage(_NONE, _NONE, None, voltage, words)
    length = _block_s(time_s)
    firsts, counts = _blocks(time_s, length)
    cosine, sine, residual = _fit(time_s, voltage, frequency, firsts, counts)
    crests = np.hypot(cosine, sine)
    fits = (counts >= _LEAST_PULSES) & (residual <= _MOST_RESIDUAL * crests) & np.isfinite(crests)
    shift = np.where(fits, np.arctan2(cosine, sine), np.nan)
    crests, good = _with_quiet(crests, fits, np.sqrt(np.add.reduceat(voltage * voltage, firsts) / counts))
    angle = np.degrees(2 * math.pi * frequency * time_s + np.repeat(shift, counts)) % 360.0
    words = (
        f"The voltage was computed from the instantaneous voltage of the pulses: a sine of {frequency:.5g} Hz fitted "
        f"to each {length:.2g} s, as crest/√2."
    )
    middles = np.add.reduceat(time_s, firsts) / counts
    return PulseVoltage(middles[good], crests[good] / math.sqrt(2), angle, voltage, words)


def _block_s(time_s: Samples) -> float:
    """Return how long a block must be to hold enough pulses at their mean rate, 0.4 to 2 s [s]."""
    rate = len(time_s) / max(float(time_s[-1] - time_s[0]), _FIT_BLOCK_S)
    return min(max(_FIT_BLOCK_S, 2 * _LEAST_PULSES / rate), _LONGEST_BLOCK_S)


def _blocks(time_s: Samples, length_s: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    blocks = np.floor((time_s - time_s[0]) / length_s)
    firsts = np.flatnonzero(np.concatenate(([True], np.diff(blocks) > 0)))
    return firsts, np.diff(np.append(firsts, len(time_s)))


def _fit(
    time_s: Samples, voltage: Samples, frequency: float, firsts: NDArray[np.intp], counts: NDArray[np.intp]
) -> tuple[Samples, Samples, Samples]:
    """Return cosine and sine part and root-mean-square residual of each block by least squares [kV]."""
    angle = 2 * math.pi * frequency * time_s
    c, s = np.cos(angle), np.sin(angle)
    cc, ss, cs = (np.add.reduceat(values, firsts) for values in (c * c, s * s, c * s))
    cu, su, uu = (np.add.reduceat(values, firsts) for values in (c * voltage, s * voltage, voltage * voltage))
    with np.errstate(divide="ignore", invalid="ignore"):
        determinant = cc * ss - cs * cs
        # Pulses at one phase only do not determine a sine: then both parts are not numbers.
        determinant[determinant < 1e-4 * counts**2] = np.nan
        cosine, sine = (cu * ss - su * cs) / determinant, (su * cc - cu * cs) / determinant
        residual = np.sqrt(np.maximum(uu - cosine * cu - sine * su, 0.0) / counts)
    return cosine, sine, residual


def _frequency(time_s: Samples, voltage: Samples) -> float | None:
    """Return the frequency whose sine leaves least of the strongest seconds [Hz]; None where none passes."""
    strongest = time_s[int(np.argmax(np.abs(voltage)))]
    first = np.searchsorted(time_s, strongest - _SCAN_S / 2)
    last = min(int(np.searchsorted(time_s, strongest + _SCAN_S / 2)), int(first) + 4000)
    times, values = time_s[first:last], voltage[first:last]
    if len(times) < _LEAST_PULSES:
        return None
    firsts, counts = _blocks(times, _block_s(time_s))
    best, best_left = None, math.inf
    step = 0.05
    candidates = np.arange(_SCAN_HZ[0], _SCAN_HZ[1] + step / 2, step)
    for _ in range(3):
        for frequency in candidates:
            cosine, sine, residual = _fit(times, values, float(frequency), firsts, counts)
            known = np.isfinite(residual)
            if not known.any():
                continue
            left = float(np.sqrt(np.average(residual[known] ** 2, weights=counts[known])))
            crest = float(np.average(np.hypot(cosine, sine)[known], weights=counts[known]))
            if crest > 0 and left / crest < best_left:
                best, best_left = float(frequency), left / crest
        if best is None:
            return None
        step /= 10
        candidates = best + step * np.arange(-12, 13)
    return best if best_left <= _MOST_RESIDUAL else None
