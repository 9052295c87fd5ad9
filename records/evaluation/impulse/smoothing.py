"""The test-voltage function k(f) and the filter that applies it without shifting the phase."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from records.evaluation.usual import USUAL
from records.readers.recording import Samples

Curves = NDArray[np.float64]

A_US2 = USUAL["test_voltage_function_us2"].value
"""a in k(f) = 1/(1 + a f²), f in MHz [µs²]."""


def amplitude_response(frequency_mhz: Samples | float) -> Samples | float:
    """Return k(f) = 1/(1 + 2.2 f²), dimensionless, at frequencies f [MHz].

    Examples
    --------
    >>> amplitude_response(0.5)
    0.6451612903225806
    """
    return 1.0 / (1.0 + A_US2 * frequency_mhz**2)


def is_sampled_finely(interval_us: float) -> bool:
    """Return whether the filter exists for a sampling period [µs]: below √a/2 = 0.74 µs."""
    return 0 < interval_us < math.sqrt(A_US2) / 2


def coefficients(interval_us: float) -> tuple[float, float]:
    """Return b0 = b1 and a1 of the first-order section for a sampling period [µs].

    K = tan(π Ts/√a), b0 = b1 = K/(1 + K), a1 = (1 - K)/(1 + K); y_i = b0 x_i + b1 x_(i-1) + a1 y_(i-1).

    Raises
    ------
    ValueError
        The sampling period is so long (√a/2 = 0.74 µs or more) that the filter does not exist.

    References
    ----------
    IEC 60060-1:2010 annex C, from memory; checked against k(f) in the tests.
    """
    if not is_sampled_finely(interval_us):
        raise ValueError(f"A sampling period of {interval_us:g} µs is too long for the test-voltage filter.")
    k = math.tan(math.pi * interval_us / math.sqrt(A_US2))
    return k / (1 + k), (1 - k) / (1 + k)


def filtered(values: Curves, interval_us: float) -> Curves:
    """Return values through the section forward and backward, so that the amplitude response is k(f), without shift.

    Parameters
    ----------
    values : ndarray (n,) or (m, n)
        Samples [any unit], one curve or one in each row; taken as constant beyond both ends.
    interval_us : float
        Sampling period [µs].

    Returns
    -------
    ndarray of the same shape
        Same unit.
    """
    b, a = coefficients(interval_us)

    def once(x: Curves) -> Curves:
        state = (1 - b) * x[..., :1]  # as if the first value had always stood there
        return lfilter([b, b], [1.0, -a], x, axis=-1, zi=state)[0]

    if not values.shape[-1]:
        return values
    return once(once(values)[..., ::-1])[..., ::-1]


def kernel(interval_us: float) -> Samples:
    """Return the filter's response to one sample, an odd-length ndarray centred on it, dimensionless."""
    half = math.ceil(18 / (2 * math.pi / math.sqrt(A_US2)) / interval_us)  # exp(-18): nothing is left
    impulse = np.zeros(2 * half + 1)
    impulse[half] = 1.0
    return filtered(impulse, interval_us)
