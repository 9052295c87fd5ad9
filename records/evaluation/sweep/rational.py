"""A rational function of the frequency: pole pairs, and what lies beside them, with exact derivatives."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from records.evaluation.sweep.responses import Complexes
from records.readers.recording import Samples


@dataclass(frozen=True)
class Model:
    """Parameters of the fit, angular frequencies and the admittance in units of their own.

    Attributes
    ----------
    pairs : ndarray (m, 4)
        ln ω0, 1/Q, ln L and κ of each pair of poles; 1/Q may be below 0 where noise leaves it unknown.
    ends : ndarray (4,)
        G0, C0, and of the coil ln 1/L and ln R/L.
    has_coil, is_skewed, has_leak : bool
        Whether the coil, κ and G0 are parameters; G0 stays as it is where it is none.
    """

    pairs: NDArray[np.float64]
    ends: Samples
    has_coil: bool
    is_skewed: bool
    has_leak: bool = True

    @property
    def _free_ends(self) -> slice:
        return slice(0 if self.has_leak else 1, 4 if self.has_coil else 2)

    def packed(self) -> Samples:
        """Return the parameters that are free, as one array (k,)."""
        width = 4 if self.is_skewed else 3
        return np.concatenate([self.pairs[:, :width].ravel(), self.ends[self._free_ends]])

    def unpacked(self, values: Samples) -> Model:
        """Return the model with free parameters as `packed` gives them."""
        width, count = (4 if self.is_skewed else 3), len(self.pairs)
        pairs = self.pairs.copy()
        pairs[:, :width] = values[: width * count].reshape(count, width)
        ends = self.ends.copy()
        ends[self._free_ends] = values[width * count :]
        return replace(self, pairs=pairs, ends=ends)

    def damped(self) -> Model:
        """Return the model with every pair's 1/Q above 0."""
        pairs = self.pairs.copy()
        pairs[:, 1] = np.abs(pairs[:, 1])
        return replace(self, pairs=pairs)

    def value_and_slopes(self, s: Complexes) -> tuple[Complexes, Complexes]:
        """Return the admittance (n,) and its derivatives by the packed parameters (n, k)."""
        total: Complexes = self.ends[0] + s * self.ends[1]
        columns = []
        for log_omega, damping, log_inductance, skew in self.pairs:
            x = s / math.exp(log_omega)
            below = x**2 + damping * x + 1
            plain = math.exp(-log_inductance - log_omega) / below
            one = (x + skew) * plain
            total = total + one
            by_omega = -one - x * plain + one * x * (2 * x + damping) / below
            columns += [by_omega, -one * x / below, -one, *([plain] if self.is_skewed else [])]
        columns += [*([np.ones_like(s)] if self.has_leak else []), s]
        if self.has_coil:
            strength, decay = math.exp(self.ends[2]), math.exp(self.ends[3])
            coil = strength / (s + decay)
            total = total + coil
            columns += [coil, -coil * decay / (s + decay)]
        return total, np.column_stack(columns)

    def slope(self, s: complex) -> complex:
        """Return the derivative of the admittance by s at one s."""
        total = complex(self.ends[1])
        for log_omega, damping, log_inductance, skew in self.pairs:
            omega = math.exp(log_omega)
            x = s / omega
            below = x**2 + damping * x + 1
            total += (
                math.exp(-log_inductance - log_omega) / omega / below * (1 - (x + skew) * (2 * x + damping) / below)
            )
        if self.has_coil:
            total -= math.exp(self.ends[2]) / (s + math.exp(self.ends[3])) ** 2
        return total
