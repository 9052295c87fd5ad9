"""The phase-resolved pattern: how many pulses of which charge fell on which phase of the voltage."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from records.readers.recording import Samples

PHASE_CELLS, CHARGE_CELLS = 180, 100
_LEAST_TOP = 1e-9  # beyond this and its inverse no charge is meant; powers of ten need not be exact there


@dataclass(frozen=True)
class PhasePattern:
    """Pulses counted in cells of phase and charge.

    Attributes
    ----------
    counts : ndarray (phase cells, charge cells) of int
        Pulses in each cell.
    top_pc : float
        Upper end of the charge axis [pC]; a signed pattern reaches from −top to +top, another from 0.
    is_signed : bool
        Whether charges of both signs occur.
    """

    counts: NDArray[np.int64]
    top_pc: float
    is_signed: bool

    @property
    def bottom_pc(self) -> float:
        """Lower end of the charge axis [pC]."""
        return -self.top_pc if self.is_signed else 0.0

    @property
    def pulses(self) -> int:
        """Number of pulses counted."""
        return int(self.counts.sum())

    def phase_edges_deg(self) -> Samples:
        """Return the edges of the cells of phase, shape (phase cells + 1,) [°]."""
        return np.linspace(0.0, 360.0, self.counts.shape[0] + 1)

    def charge_edges_pc(self) -> Samples:
        """Return the edges of the cells of charge, shape (charge cells + 1,) [pC]."""
        return np.linspace(self.bottom_pc, self.top_pc, self.counts.shape[1] + 1)


def count_pattern(
    phase_deg: Samples,
    charge_pc: Samples,
    *,
    phase_cells: int = PHASE_CELLS,
    charge_cells: int = CHARGE_CELLS,
    top_pc: float | None = None,
) -> PhasePattern:
    """Return the phase-resolved pattern of pulses.

    Parameters
    ----------
    phase_deg : ndarray (n,)
        Phase of each pulse [°], counted from the rising zero of the voltage; whole turns are taken off.
    charge_pc : ndarray (n,)
        Charge of each pulse [pC], of either sign.
    phase_cells, charge_cells : int
        Cells along each axis, at least 1.
    top_pc : float, optional
        End of the charge axis [pC]; else a round number just above the greatest magnitude. What lies beyond it is
        counted in the outermost cell.

    Returns
    -------
    PhasePattern
        Frozen. Every pulse is in exactly one cell.

    Raises
    ------
    ValueError
        The arrays differ in length, hold a number that is not finite, or a number of cells is below 1.
    """
    if len(phase_deg) != len(charge_pc):
        raise ValueError("Phases and charges differ in number.")
    if phase_cells < 1 or charge_cells < 1:
        raise ValueError("A pattern has at least one cell along each axis.")
    low, high = _ends(charge_pc)
    if not all(math.isfinite(end) for end in (low, high, *_ends(phase_deg))):
        raise ValueError("A phase or a charge is not a finite number.")
    top = top_pc or rounded_up(max(abs(low), abs(high)))
    is_signed = low < 0
    rows = charge_pc / top
    if is_signed:
        rows = (rows + 1.0) / 2
    rows = (np.clip(rows, 0.0, 1.0) * charge_cells).astype(np.int32)
    np.clip(rows, 0, charge_cells - 1, out=rows)
    rows += _columns(phase_deg, phase_cells) * np.int32(charge_cells)
    counts = np.bincount(rows, minlength=phase_cells * charge_cells)
    return PhasePattern(counts.reshape(phase_cells, charge_cells), top, is_signed)


def _columns(phase_deg: Samples, phase_cells: int) -> NDArray[np.int32]:
    """Return the cell of each phase, whole turns taken off."""
    low, high = _ends(phase_deg)
    within = phase_deg if low >= 0 and high < 360 else np.remainder(phase_deg, 360.0)
    columns = (within * (phase_cells / 360.0)).astype(np.int32)
    # A phase a rounding error below 0 becomes a whole turn, which is the first cell again.
    columns[columns == phase_cells] = 0
    return columns


def _ends(values: Samples) -> tuple[float, float]:
    return (float(values.min()), float(values.max())) if len(values) else (0.0, 0.0)


def rounded_up(value: float) -> float:
    """Return the next number of 1, 1.5, 2, 3, 4, 5, 6, 8 times a power of ten above a value; 1 where it is 0."""
    if not _LEAST_TOP <= value <= 1 / _LEAST_TOP:
        return 1.0 if not value > _LEAST_TOP else value
    size = 10.0 ** math.floor(math.log10(value))
    return next((step * size for step in (1, 1.5, 2, 3, 4, 5, 6, 8) if step * size >= value * (1 - 1e-12)), 10.0 * size)
