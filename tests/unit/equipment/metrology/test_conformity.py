"""Each exit of the decision on one value."""

from __future__ import annotations

import math

import pytest

from equipment.metrology.conformity import (
    DECISION_RULES,
    LimitMissing,
    UnknownDecisionRule,
    decide,
    guard_factor_of,
    probability_of_conformity,
)


@pytest.mark.parametrize(
    ("value", "rule", "verdict", "statement"),
    [
        (100.0, "simple_acceptance", "conforms", "pass"),
        (100.1, "simple_acceptance", "does_not_conform", "fail"),
        (95.0, "guard_band", "conforms", "pass"),
        (95.1, "guard_band", "inconclusive", "conditional_pass"),
        (100.0, "guard_band", "inconclusive", "conditional_pass"),
        (100.1, "guard_band", "inconclusive", "conditional_fail"),
        (105.0, "guard_band", "inconclusive", "conditional_fail"),
        (105.1, "guard_band", "does_not_conform", "fail"),
        (95.85, "iso_14253", "conforms", "pass"),  # 100 - 0.83 * 5
        (95.86, "iso_14253", "inconclusive", "conditional_pass"),
        (104.16, "iso_14253", "does_not_conform", "fail"),
        (105.0, "non_critical", "conforms", "pass"),
        (105.1, "non_critical", "does_not_conform", "fail"),
        (92.5, "three_sigma", "conforms", "pass"),
        (85.1, "six_sigma", "inconclusive", "conditional_pass"),
    ],
)
def test_upper_limit_of_100_with_expanded_uncertainty_5(value, rule, verdict, statement):
    decision = decide(value=value, expanded_uncertainty=5.0, maximum=100.0, rule=rule)
    assert (decision.verdict, decision.statement, decision.rule) == (verdict, statement, rule)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(96.0, "conforms"), (95.9, "inconclusive"), (88.0, "inconclusive"), (87.9, "does_not_conform")],
)
def test_lower_limit_of_92_mirrors_the_upper(value, verdict):
    assert decide(value=value, expanded_uncertainty=4.0, minimum=92.0, rule="guard_band").verdict == verdict


def test_beyond_the_lower_limit_by_more_than_the_guard_band():
    decision = decide(value=87.9, expanded_uncertainty=4.0, minimum=92.0, rule="guard_band", unit="kV")
    assert decision.verdict == "does_not_conform"
    assert (
        decision.reason
        == "87.9 kV lies 4.1 kV beyond the limit (minimum 92 kV), by more than the guard band of 4.0 kV."
    )


def test_two_limits_give_two_acceptance_limits():
    decision = decide(value=1.2, expanded_uncertainty=0.1, minimum=0.84, maximum=1.56, rule="guard_band")
    assert decision.verdict == "conforms"
    assert decision.acceptance_minimum == pytest.approx(0.94)
    assert decision.acceptance_maximum == pytest.approx(1.46)
    assert decision.guard_band == pytest.approx(0.1)


def test_overlapping_guard_bands_accept_nothing_and_say_so():
    decision = decide(value=1.2, expanded_uncertainty=0.5, minimum=0.84, maximum=1.56, rule="guard_band")
    assert decision.verdict == "inconclusive"
    assert decision.reason.endswith("The guard bands overlap: with this uncertainty no value can be accepted.")


def test_customers_own_factor():
    own = {"expanded_uncertainty": 5.0, "maximum": 100.0, "rule": "customer_defined", "guard_factor": 0.5}
    assert decide(value=97.5, **own).verdict == "conforms"
    assert decide(value=97.6, **own).verdict == "inconclusive"
    assert decide(value=97.6, **(own | {"rule": "guard_band"})).acceptance_maximum == 97.5


def test_binary_fractions_do_not_refuse_a_value_on_the_acceptance_limit():
    assert decide(value=0.2, expanded_uncertainty=0.1, maximum=0.3, rule="guard_band").verdict == "conforms"


def test_unknown_uncertainty_is_inconclusive_where_the_rule_needs_it():
    decision = decide(value=1.0, expanded_uncertainty=None, maximum=100.0, rule="iso_14253")
    assert (decision.verdict, decision.statement, decision.probability_of_conformity) == ("inconclusive", None, None)
    assert decision.reason == (
        "The uncertainty is not known, and the agreed rule needs it (Guard band of 0.83 U (ISO 14253-1:2017))."
    )


def test_simple_acceptance_decides_without_uncertainty_and_says_what_is_missing():
    decision = decide(value=12.0, expanded_uncertainty=None, maximum=10.0, unit="pC")
    assert (decision.verdict, decision.probability_of_conformity) == ("does_not_conform", None)
    assert decision.reason == (
        "12 pC lies 2 pC beyond the limit (maximum 10 pC); simple acceptance leaves no guard band."
        " The uncertainty is not known, so no probability is stated."
    )


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("rule", ["simple_acceptance", "guard_band", "non_critical"])
def test_no_number_is_never_judged(value, rule):
    decision = decide(value=value, expanded_uncertainty=1.0, maximum=10.0, rule=rule)
    assert (decision.verdict, decision.statement) == ("inconclusive", None)


@pytest.mark.parametrize("rule", ["simple_acceptance", "guard_band"])
def test_uncertainty_that_is_no_number_is_inconclusive(rule):
    assert decide(value=1.0, expanded_uncertainty=math.nan, maximum=10.0, rule=rule).verdict == "inconclusive"


def test_zero_uncertainty_leaves_certainty():
    assert decide(value=10.0, expanded_uncertainty=0.0, maximum=10.0, rule="guard_band").probability_of_conformity == 1
    assert decide(value=10.1, expanded_uncertainty=0.0, maximum=10.0, rule="guard_band").verdict == "does_not_conform"


def test_no_limit_is_refused():
    with pytest.raises(LimitMissing, match="Nothing is judged without a limit"):
        decide(value=1.0, expanded_uncertainty=0.1)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"minimum": 2.0, "maximum": 1.0}, "The minimum 2 lies above the maximum 1."),
        ({"maximum": math.nan}, "A limit must be a number."),
        ({"maximum": 1.0, "expanded_uncertainty": -0.1}, "The expanded uncertainty must be at least 0."),
        ({"maximum": 1.0, "coverage_factor": 0.0}, "The coverage factor must be a finite number above 0."),
        ({"maximum": 1.0, "rule": "customer_defined"}, "needs its guard factor"),
        ({"maximum": 1.0, "rule": "customer_defined", "guard_factor": math.nan}, "must be a finite number"),
        ({"maximum": 1.0, "rule": "iso_14253", "guard_factor": 0.5}, "The rule iso_14253 has r = 0.83"),
    ],
)
def test_contradictions_are_refused(change, message):
    with pytest.raises(ValueError, match=message):
        decide(**({"value": 1.0, "expanded_uncertainty": 0.1} | change))


def test_unknown_rule_is_refused_with_the_known_ones():
    with pytest.raises(UnknownDecisionRule, match=r"“generous” is not a decision rule; use one of simple_acceptance, "):
        guard_factor_of("generous")


def test_table_holds_the_factors_of_the_guideline():
    assert {name: rule.guard_factor for name, rule in DECISION_RULES.items()} == {
        "simple_acceptance": 0.0,
        "guard_band": 1.0,
        "iso_14253": 0.83,
        "three_sigma": 1.5,
        "six_sigma": 3.0,
        "non_critical": -1.0,
        "customer_defined": None,
    }


def test_probability_keeps_its_digits_in_the_upper_tail():
    below = probability_of_conformity(0.0, 1.0, minimum=-10.0, maximum=-8.0)
    above = probability_of_conformity(0.0, 1.0, minimum=8.0, maximum=10.0)
    assert above == pytest.approx(below, rel=1e-12)
    assert above == pytest.approx(0.5 * math.erfc(8 / math.sqrt(2)), rel=1e-3)


@pytest.mark.parametrize(("value", "u"), [(math.nan, 1.0), (1.0, -1.0), (1.0, math.inf)])
def test_probability_refuses_what_is_no_number(value, u):
    with pytest.raises(ValueError, match="must be a finite number"):
        probability_of_conformity(value, u, maximum=2.0)


@pytest.mark.parametrize(
    ("value", "uncertainty", "words"),
    [
        (342.718, 17.1, "343 pC lies 243 pC beyond"),
        (342.718, None, "342.7 pC lies 242.7 pC beyond"),
        (100.04, 17.0, "100 pC lies less than 1 pC beyond"),
        (99.96, 17.0, "100 pC lies less than 1 pC inside"),
        (100.0, 17.0, "100 pC lies 0 pC inside"),
        (12345.6, 1234.0, "12300 pC lies 12200 pC beyond"),
        (0.0, None, "0 pC lies 100 pC inside"),
    ],
)
def test_the_reason_rounds_value_and_margin_to_the_uncertainty(value, uncertainty, words):
    decision = decide(value=value, expanded_uncertainty=uncertainty, maximum=100.0, unit="pC")
    assert decision.reason.startswith(f"{words} the limit (maximum 100 pC)")


def test_a_value_that_was_said_before_is_not_said_again():
    decision = decide(value=342.718, expanded_uncertainty=17.1, maximum=100.0, unit="pC", subject="That")
    assert decision.reason.startswith("That lies 243 pC beyond the limit (maximum 100 pC)")


@pytest.mark.parametrize("value", [1.7e308, -1.7e308, 5e-324])
def test_no_size_of_value_is_an_error(value):
    assert decide(value=value, expanded_uncertainty=abs(value) * 0.03, maximum=1.0).reason
