"""A finding's numbers as they are shown, the same on pages and on certificates: rounded, counted, in a fitting unit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from equipment.metrology.rounding import rounded
from records.evaluation.quantities import QUANTITIES

NOT_KNOWN = "–"
_PREFIXES = ((1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))
_SCALED_UNITS = frozenset({"A", "W"})
_FIXED: Mapping[str, tuple[float, str]] = {"C²/s": (1e-24, "pC²/s")}


@dataclass(frozen=True)
class Figure:
    """Value and uncertainty as texts without unit, and the unit that both are in; a dash for what is not known."""

    value: str
    uncertainty: str
    unit: str

    @property
    def with_uncertainty(self) -> str:
        """Return value and uncertainty in one text, without the unit."""
        return self.value if self.uncertainty == NOT_KNOWN else f"{self.value} ± {self.uncertainty}"


def is_only_reported(minimum: float | None, maximum: float | None) -> bool:
    """Return whether a finding has no limit: then it has a value, and no verdict of its own is shown."""
    return minimum is None and maximum is None


def word_of(verdict: str, judges: str, minimum: float | None, maximum: float | None) -> str:
    """Return the word in place of a verdict: “reported” without limit, “valid” for a test inside its limits.

    Empty where the verdict itself is shown: for the unit, and wherever something is not as it should be.
    """
    if verdict != "conforms":
        return ""
    if is_only_reported(minimum, maximum):
        return "reported"
    return "valid" if judges == "test" else ""


_STATEMENTS: Mapping[str, str] = {
    "pass": "pass",
    "conditional_pass": "conditional pass",
    "conditional_fail": "conditional fail",
    "fail": "fail",
}


def statement_of(row: Mapping[str, Any]) -> str:
    """Return the four-state statement of a finding in words, where it was agreed to state it; else nothing.

    Parameters
    ----------
    row : mapping
        A finding with the keys of the shell contract.

    References
    ----------
    ILAC-G8:09/2019, non-binary statements with a guard band (from memory).

    Examples
    --------
    >>> statement_of({"statement": "conditional_pass", "has_four_states": True})
    'conditional pass'
    """
    return _STATEMENTS.get(row.get("statement") or "", "") if row.get("has_four_states") else ""


def scale_of(unit: str, magnitude: float) -> tuple[float, str]:
    """Return the factor of a fitting unit in the unit given, and its symbol.

    Examples
    --------
    >>> scale_of("A", 1.8e-8)
    (1e-09, 'nA')
    >>> scale_of("kV", 1e-8)
    (1.0, 'kV')
    """
    if unit in _FIXED:
        return _FIXED[unit]
    if unit not in _SCALED_UNITS or not magnitude or not math.isfinite(magnitude):
        return 1.0, unit
    factor, prefix = next((row for row in _PREFIXES if abs(magnitude) >= row[0]), _PREFIXES[-1])
    return factor, f"{prefix}{unit}"


def figure_of(quantity: str, value: float | None, expanded_uncertainty: float | None, unit: str) -> Figure:
    """Return a finding's value and uncertainty as they are shown.

    Parameters
    ----------
    quantity : str
        Its name; counts are whole numbers, without decimals.
    value, expanded_uncertainty : float or None
        As found [unit].
    unit : str
        Symbol of the unit.

    Returns
    -------
    Figure
        The uncertainty to two significant digits and the value to the same place; alone, a value keeps four digits and
        no zeros at the end. Small currents and powers are given with a prefix, quadratic rates in pC²/s.

    Examples
    --------
    >>> figure_of("apparent_charge_pc", 342.718, 17.1, "pC")
    Figure(value='343', uncertainty='17', unit='pC')
    >>> figure_of("disruptive_discharges", 0.0, None, "").value
    '0'
    """
    if value is None or not math.isfinite(value):
        return Figure(NOT_KNOWN, NOT_KNOWN, unit)
    known = QUANTITIES.get(quantity)
    if known is not None and known.is_count:
        return Figure(_signed(f"{value:.0f}"), NOT_KNOWN, unit)
    factor, symbol = scale_of(unit, value)
    if not expanded_uncertainty or not math.isfinite(expanded_uncertainty):
        return Figure(_signed(_plain(value / factor)), NOT_KNOWN, symbol)
    shown = rounded(value / factor, expanded_uncertainty / factor)
    return Figure(_signed(shown.value_text), shown.uncertainty_text, symbol)


def limits_in_words(minimum: float | None, maximum: float | None, unit: str) -> str:
    """Return limits with their signs, in a fitting unit, or that the value is only reported."""
    bounds = [bound for bound in (minimum, maximum) if bound is not None]
    if not bounds:
        return "reported only"
    factor, symbol = scale_of(unit, max(abs(bound) for bound in bounds))
    low, high = (None if bound is None else _signed(_plain(bound / factor)) for bound in (minimum, maximum))
    after = f"\N{THIN SPACE}{symbol}" if symbol else ""
    if low is not None and high is not None:
        return f"{low} to {high}{after}"
    return f"≤ {high}{after}" if high is not None else f"≥ {low}{after}"


def _plain(value: float) -> str:
    text = rounded(value, None).value_text
    return text.rstrip("0").rstrip(".") if "." in text else text


def _signed(text: str) -> str:
    return text.replace("-", "\N{MINUS SIGN}")
