"""One measured quantity against one criterion, and many findings to one verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from equipment.metrology.conformity import Verdict as Conformity
from equipment.metrology.conformity import decide
from records.evaluation.findings import Finding, Verdict
from records.evaluation.measured import Measured
from records.evaluation.quantities import QUANTITIES
from records.evaluation.step import Criterion

NOT_JUDGED = "The unit was not judged."


def judge(criterion: Criterion, measured: Measured) -> Finding:
    """Return the finding of one quantity.

    Parameters
    ----------
    criterion : Criterion
        With its limits and decision rule.
    measured : Measured
        Value, or what is known without one.

    Returns
    -------
    Finding
        A value outside the limits is ``does_not_conform`` where the criterion judges the unit and ``not_valid`` where
        it judges the test; a quantity that could not be determined is ``inconclusive``.
    """
    probability = statement = None
    if measured.settled is not None:
        verdict, reason = measured.settled, measured.words
    elif measured.value is None or not math.isfinite(measured.value):
        verdict, reason = _of_the_test(_from_bounds(criterion, measured), criterion), measured.words
    else:
        decision = decide(
            value=measured.value,
            expanded_uncertainty=measured.expanded_uncertainty,
            coverage_factor=measured.coverage_factor,
            minimum=criterion.minimum,
            maximum=criterion.maximum,
            rule=criterion.decision,
            guard_factor=criterion.guard_factor,
            unit=QUANTITIES[criterion.quantity].unit,
            subject="That" if measured.is_value_said else "",
            degrees_of_freedom=measured.degrees_of_freedom,
        )
        verdict, probability = _of_the_test(decision.verdict, criterion), decision.probability_of_conformity
        statement = decision.statement
        says_all = criterion.is_implied and criterion.quantity in ("held_voltage_kv", "held_s")
        reason = measured.words if says_all else f"{measured.words} {decision.reason}".strip()
    if verdict == "not_valid":
        reason = f"{reason} {NOT_JUDGED}"
    return Finding(
        quantity=criterion.quantity,
        unit=QUANTITIES[criterion.quantity].unit,
        stage=criterion.stage,
        value=measured.value,
        expanded_uncertainty=measured.expanded_uncertainty,
        coverage_factor=measured.coverage_factor,
        minimum=criterion.minimum,
        maximum=criterion.maximum,
        decision=criterion.decision,
        probability_of_conformity=probability,
        judges=criterion.judges,
        verdict=verdict,
        reason=reason,
        is_implied=criterion.is_implied,
        correction=measured.correction,
        statement=statement,
        has_four_states=criterion.has_four_states,
    )


def _of_the_test(verdict: Conformity, criterion: Criterion) -> Verdict:
    return "not_valid" if verdict == "does_not_conform" and criterion.judges == "test" else verdict


def _from_bounds(criterion: Criterion, measured: Measured) -> Conformity:
    """Return what can be said of a quantity of which only a bound is known."""
    low = -math.inf if criterion.minimum is None else criterion.minimum
    high = math.inf if criterion.maximum is None else criterion.maximum
    at_least = -math.inf if measured.at_least is None else measured.at_least
    at_most = math.inf if measured.at_most is None else measured.at_most
    if measured.at_least is None and measured.at_most is None:
        return "inconclusive"
    if at_least >= low and at_most <= high:
        return "conforms"
    if (measured.at_least is not None and at_least >= high) or (measured.at_most is not None and at_most <= low):
        return "does_not_conform"
    return "inconclusive"


def combine(findings: Sequence[Finding], *, overstressed: str = "") -> tuple[Verdict, tuple[Finding, ...]]:
    """Return the verdict of the whole step, and the findings as they stand beside it.

    Parameters
    ----------
    findings : sequence of Finding
        Each judged on its own.
    overstressed : str
        A sentence where the voltage went clearly above what the plan allows, else empty.

    Returns
    -------
    tuple of (str, tuple of Finding)
        Verdict and findings.

    Notes
    -----
    In this order:

    1. A disruptive discharge at a voltage that the plan asks for proves the unit's failure, whatever else was wrong
       with the test: ``does_not_conform``. That the hold was cut short by it is no fault of the test.
    2. A test criterion outside its limits: ``not_valid``; the unit's findings become ``not_valid`` too.
    3. A test criterion that could not be determined: ``inconclusive``, and so are the unit's findings.
    4. A unit that fails after more voltage than the plan allows: ``not_valid``, since the test may have caused it.
    5. A unit criterion outside its limits: ``does_not_conform``.
    6. Anything ``inconclusive``: ``inconclusive``. Else ``conforms``.
    """
    test = [finding.verdict for finding in findings if finding.judges == "test"]
    unit = [finding.verdict for finding in findings if finding.judges == "unit"]
    if any(f.quantity == "disruptive_discharges" and f.verdict == "does_not_conform" for f in findings):
        ended = "The disruptive discharge ended the test, so this is not held against it."
        return "does_not_conform", tuple(
            replace(f, verdict="inconclusive", reason=f"{f.reason.removesuffix(NOT_JUDGED).strip()} {ended}")
            if f.verdict == "not_valid"
            else f
            for f in findings
        )
    if "not_valid" in test or "not_valid" in unit:
        return "not_valid", _unit_not_judged(findings, "not_valid", NOT_JUDGED)
    if "inconclusive" in test:
        return "inconclusive", _unit_not_judged(findings, "inconclusive", "The test itself could not be judged.")
    if "does_not_conform" in unit and overstressed:
        return "not_valid", _unit_not_judged(findings, "not_valid", f"{overstressed} {NOT_JUDGED}")
    if "does_not_conform" in unit:
        return "does_not_conform", tuple(findings)
    if "inconclusive" in unit or not unit:
        return "inconclusive", tuple(findings)
    return "conforms", tuple(findings)


def _unit_not_judged(findings: Sequence[Finding], verdict: Verdict, why: str) -> tuple[Finding, ...]:
    return tuple(
        replace(f, verdict=verdict, reason=f"{f.reason} {why}".strip(), statement=None)
        if f.judges == "unit" and f.verdict != verdict
        else f
        for f in findings
    )
