"""Statements of conformity: one value with its uncertainty against its limits, by an agreed decision rule."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Literal

from scipy import special

from equipment.metrology.propagation import whole_degrees
from equipment.metrology.rounding import rounded

Verdict = Literal["conforms", "does_not_conform", "inconclusive"]
STATEMENTS = ("two_states", "four_states")
"""Kinds of statement that can be agreed; the first is usual."""
Statement = Literal["pass", "conditional_pass", "conditional_fail", "fail"]

# Far below what any instrument resolves: 0.3 - 0.1 must not refuse 0.2 because of binary fractions.
_RELATIVE_SLACK = 1e-12


class LimitMissing(ValueError):
    """A value cannot be judged because neither a minimum nor a maximum was given."""


class UnknownDecisionRule(ValueError):
    """The rule named is not in the table of decision rules."""


@dataclass(frozen=True)
class DecisionRule:
    """One row of the table of decision rules: ``guard_factor`` is r in w = r U (None: the customer names it)."""

    name: str
    title: str
    guard_factor: float | None
    false_acceptance_bound: float | None = None


@dataclass(frozen=True)
class Decision:
    """What was decided on one value, with everything needed to print and to recompute it.

    Attributes
    ----------
    verdict : str
        ``conforms``, ``does_not_conform`` or ``inconclusive``.
    reason : str
        One or two plain sentences with the numbers.
    probability_of_conformity : float or None
        Probability, 0 to 1, that the true value lies within the limits; None where the uncertainty is not known.
    statement : str or None
        Four-state statement of ILAC-G8: ``pass``, ``conditional_pass``, ``conditional_fail``, ``fail``;
        None where nothing could be stated.
    acceptance_minimum, acceptance_maximum : float or None
        Limits that the value itself must keep [unit of the value].
    guard_band : float or None
        w = r U [unit of the value]; negative under the non-critical rule.
    rule : str
        Name of the decision rule.
    """

    verdict: Verdict
    reason: str
    probability_of_conformity: float | None
    statement: Statement | None
    acceptance_minimum: float | None
    acceptance_maximum: float | None
    guard_band: float | None
    rule: str


def _load_rules() -> Mapping[str, DecisionRule]:
    table = tomllib.loads(files(__package__).joinpath("decision_rules.toml").read_text(encoding="utf-8"))
    return {
        name: DecisionRule(name, row["title"], row.get("guard_factor"), row.get("false_acceptance_bound"))
        for name, row in table.items()
    }


DECISION_RULES: Mapping[str, DecisionRule] = _load_rules()


def has_guard_band(rule: str, guard_factor: float | None = None) -> bool:
    """Return whether a rule leaves a band between pass and fail, so that a statement can have four states.

    Parameters
    ----------
    rule : str
        Name of a decision rule; an unknown one has none.
    guard_factor : float, optional
        The customer's own r, dimensionless.

    Returns
    -------
    bool
        r above 0.

    Examples
    --------
    >>> has_guard_band("guard_band"), has_guard_band("simple_acceptance"), has_guard_band("customer_defined", 0.5)
    (True, False, True)
    """
    known = DECISION_RULES.get(rule)
    factor = guard_factor if guard_factor is not None or known is None else known.guard_factor
    return factor is not None and factor > 0


def guard_factor_of(rule: str, guard_factor: float | None = None) -> float:
    """Return r, the guard band as a multiple of the expanded uncertainty.

    Parameters
    ----------
    rule : str
        A key of `DECISION_RULES`.
    guard_factor : float, optional
        The customer's own r, dimensionless; obligatory for ``customer_defined``, overrides r = 1 of ``guard_band``,
        and refused elsewhere unless it repeats the table.

    Returns
    -------
    float
        r, dimensionless.

    Raises
    ------
    UnknownDecisionRule
        The rule is not in the table.
    ValueError
        r is missing, not finite, or contradicts the rule named.

    References
    ----------
    ILAC-G8:09/2019 (from memory).

    Examples
    --------
    >>> guard_factor_of("iso_14253")
    0.83
    """
    if rule not in DECISION_RULES:
        known = ", ".join(DECISION_RULES)
        raise UnknownDecisionRule(f"“{rule}” is not a decision rule; use one of {known}.")
    tabulated = DECISION_RULES[rule].guard_factor
    if guard_factor is None:
        if tabulated is None:
            raise ValueError(f"The rule {rule} needs its guard factor: state r of w = r·U.")
        return tabulated
    if not math.isfinite(guard_factor):
        raise ValueError("The guard factor must be a finite number.")
    if rule not in ("guard_band", "customer_defined") and guard_factor != tabulated:
        raise ValueError(f"The rule {rule} has r = {tabulated}; for another r use customer_defined.")
    return float(guard_factor)


def probability_of_conformity(
    value: float,
    standard_uncertainty: float,
    *,
    minimum: float | None = None,
    maximum: float | None = None,
    degrees_of_freedom: float = math.inf,
) -> float:
    """Return the probability that the true value lies within the limits.

    p = F((TU − y)/u) − F((TL − y)/u), with no knowledge before the measurement. F is the normal distribution where u
    counts as exactly known, and Student's of ν degrees of freedom where few readings tell it: the same as k comes from.

    Parameters
    ----------
    value : float
        Measured value y [any unit, the same for all].
    standard_uncertainty : float
        u, at least 0.
    minimum, maximum : float, optional
        Tolerance limits TL and TU; a missing one is at infinity.
    degrees_of_freedom : float
        ν of u, at least 1, truncated to a whole number as for k; infinite gives the normal distribution.

    Returns
    -------
    float
        Probability from 0 to 1, dimensionless. With u = 0: 1 within the limits (limits included), else 0.

    Raises
    ------
    ValueError
        u is negative or not finite, the value is not finite, or ν is below 1 or NaN.

    References
    ----------
    JCGM 106:2012, 7.2 to 7.4 (from memory; worked examples recomputed); Student's distribution: JCGM 100:2008, G.3
    (from memory).

    Examples
    --------
    >>> round(probability_of_conformity(-5.47, 0.05, maximum=-5.40), 4)
    0.9192
    >>> round(probability_of_conformity(0.0, 1.0, maximum=1.0, degrees_of_freedom=1), 4)
    0.75
    """
    if not math.isfinite(value):
        raise ValueError("The value must be a finite number.")
    if not math.isfinite(standard_uncertainty) or standard_uncertainty < 0:
        raise ValueError("The standard uncertainty must be a finite number, at least 0.")
    low = -math.inf if minimum is None else minimum
    high = math.inf if maximum is None else maximum
    if standard_uncertainty == 0:
        return 1.0 if low <= value <= high else 0.0
    freedom = whole_degrees(degrees_of_freedom)
    below, above = (low - value) / standard_uncertainty, (high - value) / standard_uncertainty
    if below > 0:  # both in the upper tail: subtract the small numbers, not two that are nearly 1
        below, above = -above, -below
    return max(0.0, _below(above, freedom) - _below(below, freedom))


def _below(deviate: float, degrees_of_freedom: float) -> float:
    """Return the probability of less than a standardised value: Student's distribution, or the normal one."""
    if math.isinf(degrees_of_freedom):
        return 0.5 * math.erfc(-deviate / math.sqrt(2))
    return float(special.stdtr(degrees_of_freedom, deviate))


def _check(
    minimum: float | None, maximum: float | None, expanded_uncertainty: float | None, coverage_factor: float
) -> None:
    if minimum is None and maximum is None:
        raise LimitMissing("Nothing is judged without a limit: state a minimum or a maximum.")
    if any(limit is not None and math.isnan(limit) for limit in (minimum, maximum)):
        raise ValueError("A limit must be a number.")
    if minimum is not None and maximum is not None and minimum > maximum:
        raise ValueError(f"The minimum {minimum:g} lies above the maximum {maximum:g}.")
    if expanded_uncertainty is not None and expanded_uncertainty < 0:
        raise ValueError("The expanded uncertainty must be at least 0.")
    if not (math.isfinite(coverage_factor) and coverage_factor > 0):
        raise ValueError("The coverage factor must be a finite number above 0.")


def _margin(value: float, minimum: float | None, maximum: float | None) -> tuple[float, float]:
    """Return how far inside the nearest limit the value lies (negative: outside), and that limit."""
    margins = []
    if minimum is not None:
        margins.append((value - minimum, minimum))
    if maximum is not None:
        margins.append((maximum - value, maximum))
    return min(margins, key=lambda pair: pair[0])


def _state(margin: float, band: float, slack: float) -> Statement:
    """Return the four-state statement for a margin inside the limit, under a guard band of either sign."""
    if margin >= band - slack:
        return "pass"
    if band <= 0 or margin < -band - slack:
        return "fail"
    return "conditional_pass" if margin >= -slack else "conditional_fail"


_VERDICTS: Mapping[Statement, Verdict] = {
    "pass": "conforms",
    "conditional_pass": "inconclusive",
    "conditional_fail": "inconclusive",
    "fail": "does_not_conform",
}


@dataclass(frozen=True)
class _Spoken:
    """How numbers are said beside one value: value, margin and guard band to one decimal place, with the unit."""

    value: float
    expanded_uncertainty: float | None
    unit: str

    @property
    def value_text(self) -> str:
        if self.expanded_uncertainty is None:
            return f"{_alone(self.value)}{self.unit}"
        return f"{rounded(self.value, self.expanded_uncertainty).value_text}{self.unit}"

    def beside(self, difference: float) -> str:
        """Return a difference from the value to the value's own decimal place; what vanishes there is said as less."""
        if not math.isfinite(difference):
            return f"{difference:g}{self.unit}"
        if self.expanded_uncertainty is None:
            return f"{_alone(difference)}{self.unit}"
        shown = rounded(difference, self.expanded_uncertainty)
        if difference != 0 and float(shown.value_text) == 0:
            return f"less than {10.0**-shown.decimals:.{max(shown.decimals, 0)}f}{self.unit}"
        return f"{shown.value_text}{self.unit}"


def _alone(value: float) -> str:
    """Return a number without an uncertainty: four significant digits, no exponent where one is avoidable."""
    text = rounded(value, None).value_text if abs(value) >= 1e-4 or value == 0 else f"{value:.4g}"
    return text.rstrip("0").rstrip(".") if "." in text and "e" not in text else text


def _in_words(statement: Statement, said: _Spoken, subject: str, limits: str, band: float, margin: float) -> str:
    place = "inside" if margin >= 0 else "beyond"
    guard = said.beside(abs(band))
    lies = f"{subject or said.value_text} lies {said.beside(abs(margin))} {place} the limit ({limits})"
    if band == 0:
        return f"{lies}; simple acceptance leaves no guard band."
    needed = f"the guard band is {guard}"
    if band < 0:
        return f"{lies}; the non-critical rule refuses only beyond the limit by more than {guard}."
    return {
        "pass": f"{lies}; {needed}, which is kept.",
        "conditional_pass": f"{lies}, but {needed}: with this uncertainty it cannot be called conforming.",
        "conditional_fail": f"{lies}, but {needed}: with this uncertainty it cannot be called nonconforming.",
        "fail": f"{lies}, by more than the guard band of {guard}.",
    }[statement]


def _limits_in_words(minimum: float | None, maximum: float | None, unit: str) -> str:
    parts = []
    if minimum is not None:
        parts.append(f"minimum {minimum:.6g}{unit}")
    if maximum is not None:
        parts.append(f"maximum {maximum:.6g}{unit}")
    return ", ".join(parts)


def decide(
    *,
    value: float,
    expanded_uncertainty: float | None,
    coverage_factor: float = 2.0,
    minimum: float | None = None,
    maximum: float | None = None,
    rule: str = "simple_acceptance",
    guard_factor: float | None = None,
    unit: str = "",
    subject: str = "",
    degrees_of_freedom: float = math.inf,
) -> Decision:
    """Decide whether one value conforms to its limits, with the measurement uncertainty and an agreed rule.

    The acceptance limits are AL = TL + w below and AU = TU − w above, with the guard band w = r U. A value within them
    ``conforms``; one beyond a tolerance limit by more than w ``does_not_conform``; between the two it is
    ``inconclusive``, and `Decision.statement` says on which side of the limit it lies. Without a guard band, and
    under the non-critical rule (w below 0), no value is in between.

    Parameters
    ----------
    value : float
        Measured value y [unit].
    expanded_uncertainty : float or None
        U [unit], at least 0; None where it is not known.
    coverage_factor : float
        k, dimensionless; u = U/k. The bounds in the table of rules hold for k = 2.
    minimum, maximum : float, optional
        Tolerance limits TL and TU [unit]; at least one. A value on a limit keeps it.
    rule : str
        A key of `DECISION_RULES`.
    guard_factor : float, optional
        The customer's own r, dimensionless.
    unit : str
        Symbol of the unit, for the reason only.
    subject : str
        What the reason calls the value, as ``That`` where the value was said before; else the value itself.
    degrees_of_freedom : float
        ν of U/k, for the probability: few make it less sure on either side. The verdict does not hang on them.

    Returns
    -------
    Decision
        Frozen; `Decision.probability_of_conformity` is None where U is not known.

    Raises
    ------
    LimitMissing
        Neither limit was given.
    UnknownDecisionRule
        The rule is not in the table.
    ValueError
        The limits are not numbers or cross, U is negative, k is not above 0, or r contradicts the rule.

    Notes
    -----
    A value or uncertainty that is NaN or infinite is never judged: ``inconclusive``. An unknown uncertainty is
    ``inconclusive`` under every rule with r other than 0; simple acceptance decides and says what is missing.
    Comparisons allow 1 part in 10¹² for binary fractions.

    References
    ----------
    ILAC-G8:09/2019 (from memory); JCGM 106:2012, 7 and 8 (from memory).

    Examples
    --------
    >>> decide(value=94.0, expanded_uncertainty=5.0, maximum=100.0, rule="guard_band").verdict
    'conforms'
    """
    _check(minimum, maximum, expanded_uncertainty, coverage_factor)
    factor = guard_factor_of(rule, guard_factor)
    why = _why_undecided(value, expanded_uncertainty, rule, factor)
    if why:
        return _undecided(why, rule)
    said = _Spoken(value, expanded_uncertainty, f" {unit}" if unit else "")
    known = None if expanded_uncertainty is None else (expanded_uncertainty / coverage_factor, degrees_of_freedom)
    return _judge(said, known, minimum, maximum, rule, factor, subject)


def _judge(
    said: _Spoken,
    known: tuple[float, float] | None,
    minimum: float | None,
    maximum: float | None,
    rule: str,
    factor: float,
    subject: str,
) -> Decision:
    """Return the decision on a value whose standard uncertainty and degrees of freedom are `known`, or None."""
    value, expanded_uncertainty = said.value, said.expanded_uncertainty
    band = factor * (expanded_uncertainty or 0.0)
    margin, limit = _margin(value, minimum, maximum)
    slack = _RELATIVE_SLACK * max(abs(value), abs(limit), abs(band)) if math.isfinite(limit) else 0.0
    statement = _state(margin, band, slack)
    low, high = (None if minimum is None else minimum + band), (None if maximum is None else maximum - band)
    limits = _limits_in_words(minimum, maximum, said.unit)
    reason = _in_words(statement, said, subject, limits, band, margin)
    if low is not None and high is not None and low > high:
        reason += " The guard bands overlap: with this uncertainty no value can be accepted."
    if known is None:
        reason += " The uncertainty is not known, so no probability is stated."
        return Decision(_VERDICTS[statement], reason, None, statement, low, high, band, rule)
    u, freedom = known
    probability = probability_of_conformity(value, u, minimum=minimum, maximum=maximum, degrees_of_freedom=freedom)
    return Decision(_VERDICTS[statement], reason, probability, statement, low, high, band, rule)


def _why_undecided(value: float, expanded_uncertainty: float | None, rule: str, factor: float) -> str:
    """Return why nothing can be decided on a value, in a sentence; empty where it can."""
    if not math.isfinite(value):
        return "The value is not a finite number, so nothing can be stated about it."
    if expanded_uncertainty is not None and not math.isfinite(expanded_uncertainty):
        return "The expanded uncertainty is not a finite number, so the value cannot be judged."
    if expanded_uncertainty is None and factor != 0:
        return f"The uncertainty is not known, and the agreed rule needs it ({DECISION_RULES[rule].title})."
    return ""


def _undecided(reason: str, rule: str) -> Decision:
    return Decision("inconclusive", reason, None, None, None, None, None, rule)
