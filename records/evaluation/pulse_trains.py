"""Pulses counted and weighted as IEC 60270 defines: repeated magnitude, rate, current, power, quadratic rate."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from records.readers.recording import Samples

# Discharge time constant of a detector that charges at once. Chosen so that the pulse-train table of IEC 60270:2000,
# 4.3.3 (from memory) is met near the middle of every row; the table is checked in tests/reference/pulses.
DECAY_S = 0.44
STRETCH_S = 10.0
_PC, _KV = 1e-12, 1e3


def train_response(rate_per_s: float | Samples) -> Samples:
    """Return what a conforming instrument reads of a train of equal, equidistant pulses, relative to their magnitude.

    R(N) = N τ (1 − exp(−1/(N τ))), the mean of a detector that takes each pulse at once and decays with τ = 0.44 s.

    Parameters
    ----------
    rate_per_s : float or ndarray (n,)
        N, pulses per second [1/s], at least 0.

    Returns
    -------
    ndarray (n,) or 0-d
        R, dimensionless, from 0 (no pulse) towards 1.

    Notes
    -----
    The table begins at 1 pulse per second; below it R goes on falling in proportion to N, so that a pulse which does
    not repeat within the window counts for little: what is asked for is the largest magnitude that occurs repeatedly.

    References
    ----------
    IEC 60270:2000 with AMD1:2015, 4.3.3 (from memory).

    Examples
    --------
    >>> [round(float(train_response(n)), 2) for n in (1, 2, 5, 10, 50, 100)]
    [0.39, 0.6, 0.8, 0.89, 0.98, 0.99]
    """
    product = np.asarray(rate_per_s, dtype=float) * DECAY_S
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(product * -np.expm1(-1.0 / product), dtype=float)


def largest_repeated_charge(charge_pc: Samples, duration_s: float) -> float:
    """Return the largest repeatedly occurring charge of the pulses of one stretch of time [pC].

    q = max over Q of Q · R(N(Q)), where N(Q) is the rate of pulses of at least Q and R the pulse-train response: what a
    conforming instrument reads of the most telling train that the pulses contain.

    Parameters
    ----------
    charge_pc : ndarray (n,)
        Charges of either sign, in any order [pC].
    duration_s : float
        Length of the stretch [s], above 0.

    Returns
    -------
    float
        q [pC], never above the greatest magnitude; 0 without pulses.

    Raises
    ------
    ValueError
        The duration is not above 0.

    Notes
    -----
    Only how many pulses of which magnitude there are counts, not their order. A burst therefore reads as if its pulses
    were spread over the stretch, which is why a long window is cut into stretches (`largest_repeated_in`).
    """
    if not duration_s > 0:
        raise ValueError("Pulses can be weighted over a time above 0 s only.")
    if not len(charge_pc):
        return 0.0
    falling = np.sort(np.abs(charge_pc))[::-1]
    count = len(falling)
    # Beyond this place the response rises by less than 1 part in 10⁴, so no smaller magnitude can win.
    enough = min(count, int(np.ceil(duration_s / DECAY_S * 5_000.0)))
    rates = np.arange(1, enough + 1) / duration_s
    return float(np.max(falling[:enough] * train_response(rates)))


def largest_repeated_in(time_s: Samples, charge_pc: Samples, begin_s: float, end_s: float) -> float:
    """Return the largest repeatedly occurring charge in a window, the greatest over its stretches of 10 s [pC].

    Parameters
    ----------
    time_s, charge_pc : ndarray (n,)
        Times [s], never falling, and charges [pC].
    begin_s, end_s : float
        The window [s].

    Returns
    -------
    float
        q [pC]. A window longer than 10 s is cut into equal stretches of at most 10 s, so that a unit which discharges
        during some seconds only is not averaged away.
    """
    stretches = max(1, int(np.ceil((end_s - begin_s) / STRETCH_S - 1e-6)))
    edges = np.linspace(begin_s, end_s, stretches + 1)
    places = np.searchsorted(time_s, edges)
    places[-1] = np.searchsorted(time_s, end_s, side="right")
    length = (end_s - begin_s) / stretches
    return max(largest_repeated_charge(charge_pc[a:b], length) for a, b in pairwise(places))


@dataclass(frozen=True)
class PulseQuantities:
    """What IEC 60270 derives from the pulses of a reference time.

    Attributes
    ----------
    count : int
        Pulses N.
    duration_s : float
        Reference time Tref [s].
    repetition_rate_per_s : float
        n = N/Tref [1/s].
    average_discharge_current_a : float
        I = Σ|q|/Tref [A].
    quadratic_rate_c2_per_s : float
        D = Σq²/Tref [C²/s].
    discharge_power_w : float or None
        P = Σq·u/Tref [W], signs kept; None where the instantaneous voltage is not known.
    repeatability : mapping of str to float
        Standard uncertainty of each of the four rates by chance, in its unit: pulses come at random, so that a sum
        over them has the variance of its squares, Σx² (a count √N). Of pulses at fixed phases it is on the safe side.
    """

    count: int
    duration_s: float
    repetition_rate_per_s: float
    average_discharge_current_a: float
    quadratic_rate_c2_per_s: float
    discharge_power_w: float | None
    repeatability: Mapping[str, float]


def derive_quantities(
    charge_pc: Samples, duration_s: float, instantaneous_kv: Samples | None = None
) -> PulseQuantities:
    """Return the derived quantities of the pulses of a reference time.

    Parameters
    ----------
    charge_pc : ndarray (n,)
        Charges with their signs [pC].
    duration_s : float
        Tref [s], above 0.
    instantaneous_kv : ndarray (n,), optional
        Test voltage at the moment of each pulse [kV].

    Returns
    -------
    PulseQuantities
        Frozen.

    Raises
    ------
    ValueError
        The duration is not above 0.

    References
    ----------
    IEC 60270:2000 with AMD1:2015, 3.3 (from memory).

    Examples
    --------
    >>> derive_quantities(np.array([100.0, -100.0]), 0.02).repetition_rate_per_s
    100.0
    """
    if not duration_s > 0:
        raise ValueError("The reference time must be above 0 s.")
    charge = np.asarray(charge_pc, dtype=float)
    energy = None if instantaneous_kv is None else charge * instantaneous_kv
    squares = float(np.dot(charge, charge))
    return PulseQuantities(
        len(charge),
        duration_s,
        len(charge) / duration_s,
        float(np.abs(charge).sum()) * _PC / duration_s,
        squares * _PC**2 / duration_s,
        None if energy is None else float(energy.sum()) * _PC * _KV / duration_s,
        {
            "repetition_rate_per_s": math.sqrt(len(charge)) / duration_s,
            "average_discharge_current_a": math.sqrt(squares) * _PC / duration_s,
            "quadratic_rate_c2_per_s": float(np.linalg.norm(charge**2)) * _PC**2 / duration_s,
            "discharge_power_w": 0.0 if energy is None else float(np.linalg.norm(energy)) * _PC * _KV / duration_s,
        },
    )


def repeated(time_s: Samples, *, times: int = 3, within_s: float = 1.0) -> NDArray[np.bool_]:
    """Return for each pulse whether it is one of several that follow each other closely.

    Parameters
    ----------
    time_s : ndarray (n,)
        Times of the pulses that count [s], never falling.
    times : int
        How many must lie together, at least 1.
    within_s : float
        In how long a time, its ends included [s].

    Returns
    -------
    ndarray (n,) of bool
        Whether the pulse belongs to a group of `times` within `within_s`.

    Notes
    -----
    Three within a second: our own reading of “repetitive” in the definitions of inception and extinction voltage
    (IEC 60270, from memory), after the three samples in a row that a detector's record is asked for.

    Examples
    --------
    >>> repeated(np.array([0.0, 0.4, 0.8, 5.0])).tolist()
    [True, True, True, False]
    """
    count = len(time_s)
    flags = np.zeros(count, dtype=bool)
    if count < times:
        return flags
    together = time_s[times - 1 :] - time_s[: count - times + 1] <= within_s * (1 + 1e-12)
    for offset in range(times):
        flags[offset : count - times + 1 + offset] |= together
    return flags
