"""A measured quantity before it is judged, and its uncertainty from instruments, resolution and sampling."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from equipment.metrology.rounding import rounded
from records.evaluation.corrections import Acting
from records.evaluation.findings import Verdict
from records.evaluation.setups import ONLY_IF_NAMED, Instrument, Setup
from records.readers.recording import Samples

COVERAGE_FACTOR = 2.0
_MANY_STEPS = 20
_LEAST_TOLD = 1e-8


@dataclass(frozen=True)
class Measured:
    """What the record says about one quantity.

    Attributes
    ----------
    value : float or None
        Measured value [unit of the quantity]; None where there is none.
    expanded_uncertainty : float or None
        U [unit]; None where it is not known.
    words : str
        What the record shows, in a sentence.
    at_least, at_most : float or None
        What is known of the quantity where it has no value, as an inception that lies above the highest voltage.
    settled : str or None
        A verdict that no limit decides.
    coverage_factor : float
        k of the expanded uncertainty, dimensionless; above 2 where few degrees of freedom ask it.
    is_value_said : bool
        Whether the words say the value already, so that a reason says it once.
    correction : str
        How its reading was corrected, in a sentence; empty where nothing was.
    degrees_of_freedom : float
        Effective, of U/k, dimensionless; infinite where it counts as exactly known or is not told.
    """

    value: float | None
    expanded_uncertainty: float | None = None
    words: str = ""
    at_least: float | None = None
    at_most: float | None = None
    settled: Verdict | None = None
    coverage_factor: float = COVERAGE_FACTOR
    is_value_said: bool = False
    correction: str = ""
    degrees_of_freedom: float = math.inf


def spoken(value: float, expanded_uncertainty: float | None) -> str:
    """Return a value as a sentence says it: rounded to its uncertainty, or to four digits where that is not known.

    Parameters
    ----------
    value : float
        Finite [any unit].
    expanded_uncertainty : float or None
        U [same unit].

    Examples
    --------
    >>> spoken(342.718, 17.1)
    '343'
    >>> spoken(30.0, None)
    '30'
    """
    if not math.isfinite(value):
        return "no finite number"
    if expanded_uncertainty and math.isfinite(expanded_uncertainty):
        # Digits beyond the ninth are told by no instrument, however little noise the record has.
        return rounded(value, max(expanded_uncertainty, _LEAST_TOLD * abs(value))).value_text
    text = rounded(value, None).value_text
    return text.rstrip("0").rstrip(".") if "." in text else text


def relative_standard_uncertainty(setup: Setup, quantity: str, value: float | None = None) -> float | None:
    """Return the relative standard uncertainty of the instruments for one quantity.

    The root of the sum of squares of U/k over the instruments that name the quantity; those that name none count for
    all but time, frequency and temperature. An instrument whose corrections act counts with their uncertainty.

    Parameters
    ----------
    setup : Setup
        With its instruments.
    quantity : str
        One of `INSTRUMENT_QUANTITIES`.
    value : float, optional
        At which the corrections are looked up [unit of the channel]; without it their greatest relative uncertainty.

    Returns
    -------
    float or None
        Dimensionless; None where no instrument counts, so that nothing is known.

    References
    ----------
    JCGM 100:2008, 5.1.2 (from memory).
    """
    shares = [_share(setup, one, quantity, value) for one in setup.instruments if _counts(one, quantity)]
    return math.sqrt(math.fsum(share**2 for share in shares)) if shares else None


def _share(setup: Setup, instrument: Instrument, quantity: str, value: float | None) -> float:
    stated = instrument.relative_uncertainty_pct / 100 / instrument.coverage_factor
    acting = acting_on(setup, instrument, quantity)
    if acting is None:
        return stated
    if value is None or not math.isfinite(value) or value == 0:
        return acting.relative_standard_uncertainty(stated)
    return acting.standard_uncertainty(value, stated * abs(value)) / abs(value)


def acting_on(setup: Setup, instrument: Instrument, quantity: str) -> Acting | None:
    """Return the corrections of an instrument that act on the channel of a quantity, or None."""
    return next((one for one in setup.acting if one.instrument == instrument.name and one.row.named == quantity), None)


def _counts(instrument: Instrument, quantity: str) -> bool:
    """Return whether an instrument tells a relative uncertainty of one quantity; a fixed part alone tells none."""
    if instrument.expanded_uncertainty and not instrument.relative_uncertainty_pct:
        return False
    return instrument.quantity == quantity or (instrument.quantity is None and quantity not in ONLY_IF_NAMED)


def resolution_of(values: Samples) -> float:
    """Return the resolution with which values were written.

    Parameters
    ----------
    values : ndarray (n,)
        Samples [any unit]; at most 10 000 of them, evenly spread, are looked at.

    Returns
    -------
    float
        The smallest step between different values [same unit]; where fewer than 20 differ, no more than the greatest
        power of ten that divides them all; 0 where no step is above the level of rounding.

    Examples
    --------
    >>> resolution_of(np.array([2.0, 250.0]))
    1.0
    """
    thinned = np.unique(values[:: max(1, len(values) // 10_000)])
    steps = np.diff(thinned)
    floor = 1e-9 * float(np.abs(thinned).max(initial=0.0))
    steps = steps[steps > floor]
    if not len(steps):
        return 0.0
    smallest = float(steps.min())
    return smallest if len(steps) >= _MANY_STEPS else min(smallest, _decimal_step(thinned))


def _decimal_step(values: Samples) -> float:
    for exponent in range(3, -9, -1):
        multiples = values / 10.0**exponent
        if np.all(np.abs(multiples - np.round(multiples)) < 1e-6):
            return float(10.0**exponent)
    return 0.0


def expanded(value: float, relative: float | None, *standard_uncertainties: float) -> float | None:
    """Return U at k = 2 of one value: instruments' relative part and further parts by root of squares.

    Parameters
    ----------
    value : float
        Measured value [unit].
    relative : float or None
        Relative standard uncertainty of the instruments; None where not known.
    *standard_uncertainties : float
        Further standard uncertainties [unit], as resolution/√12.

    Returns
    -------
    float or None
        U [unit]; None where the instruments' part is not known.
    """
    if relative is None:
        return None
    return COVERAGE_FACTOR * math.hypot(value * relative, *standard_uncertainties)
