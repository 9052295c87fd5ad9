"""The double exponential: values, crest and the times of the 30/90 line in closed form or to rounding."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from records.readers.recording import Samples


@dataclass(frozen=True)
class DoubleExponential:
    """u(t) = U (exp(-(t - td)/τ1) - exp(-(t - td)/τ2)) from td on, 0 before.

    Attributes
    ----------
    amplitude_kv : float
        U [kV]; negative for an impulse of negative polarity.
    slow_us, fast_us : float
        τ1 of the tail and τ2 of the front [µs], τ1 above τ2.
    start_us : float
        td, the true origin [µs].
    """

    amplitude_kv: float
    slow_us: float
    fast_us: float
    start_us: float = 0.0

    def at(self, time_us: Samples) -> Samples:
        """Return values [kV] at times [µs], an ndarray (n,)."""
        late = np.maximum(time_us - self.start_us, 0.0)
        shape: Samples = np.exp(late / -self.slow_us) - np.exp(late / -self.fast_us)
        return self.amplitude_kv * shape

    @property
    def crest_us(self) -> float:
        """Time of the crest from the true origin [µs]: τ1 τ2 ln(τ1/τ2)/(τ1 - τ2)."""
        return self.slow_us * self.fast_us * math.log(self.slow_us / self.fast_us) / (self.slow_us - self.fast_us)

    @property
    def crest_kv(self) -> float:
        """Value at the crest [kV]."""
        return self.amplitude_kv * (math.exp(-self.crest_us / self.slow_us) - math.exp(-self.crest_us / self.fast_us))


@dataclass(frozen=True)
class Shape:
    """Front time T1, time to half value T2, both from the virtual origin, and that origin from the true one [µs]."""

    front_us: float
    half_value_us: float
    origin_us: float


def shape_of(wave: DoubleExponential) -> Shape:
    """Return T1 and T2 of a noiseless double exponential by the 30/90 line.

    T1 = (t90 - t30)/0.6; the virtual origin is O1 = t30 - 0.3 T1; T2 = t50 - O1.

    Parameters
    ----------
    wave : DoubleExponential
        Its amplitude and start do not matter.

    Returns
    -------
    Shape
        Times [µs], to rounding.

    References
    ----------
    IEC 60060-1:2010 clause 7, from memory.

    Examples
    --------
    >>> shape = shape_of(DoubleExponential(1.0, 68.2, 0.405))
    >>> f"{shape.front_us:.5f} {shape.half_value_us:.3f}"
    '1.19989 49.988'
    """
    unit = DoubleExponential(1.0, wave.slow_us, wave.fast_us)
    crest_us, crest = unit.crest_us, unit.crest_kv

    def crossing(level: float, first_us: float, last_us: float) -> float:
        def above(time_us: float) -> float:
            return math.exp(-time_us / unit.slow_us) - math.exp(-time_us / unit.fast_us) - level * crest

        return float(brentq(above, first_us, last_us, xtol=1e-14, rtol=8.9e-16))

    t30, t90 = crossing(0.3, 0.0, crest_us), crossing(0.9, 0.0, crest_us)
    t50 = crossing(0.5, crest_us, crest_us + 5 * unit.slow_us)
    front = (t90 - t30) / 0.6
    return Shape(front, t50 - t30 + 0.3 * front, t30 - 0.3 * front)
