"""One value to a finding, many findings to a verdict: test and unit never confused."""

from __future__ import annotations

import itertools

import pytest

from records.evaluation.findings import Finding
from records.evaluation.judging import combine, judge
from records.evaluation.measured import Measured
from records.evaluation.step import BadStep, Criterion, parse_step


def finding(judges, verdict, quantity="apparent_charge_pc"):
    return Finding(quantity, "", None, None, None, 2.0, None, 1.0, "simple_acceptance", None, judges, verdict, "So.")


@pytest.mark.parametrize(
    ("judges", "value", "verdict"),
    [
        ("unit", 99.0, "conforms"),
        ("unit", 101.0, "does_not_conform"),
        ("test", 99.0, "conforms"),
        ("test", 101.0, "not_valid"),
    ],
)
def test_outside_the_limit(judges, value, verdict):
    criterion = Criterion("apparent_charge_pc", maximum=100.0, judges=judges)
    assert judge(criterion, Measured(value, 1.0)).verdict == verdict


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(90.0, "conforms"), (97.0, "inconclusive"), (103.0, "inconclusive"), (106.0, "does_not_conform")],
)
def test_guard_band_of_one_u(value, verdict):
    criterion = Criterion("apparent_charge_pc", maximum=100.0, decision="guard_band")
    assert judge(criterion, Measured(value, 5.0)).verdict == verdict


@pytest.mark.parametrize(
    ("value", "statement"), [(90.0, "pass"), (97.0, "conditional_pass"), (103.0, "conditional_fail"), (106.0, "fail")]
)
def test_the_four_states_of_a_guard_band_stand_in_the_finding(value, statement):
    criterion = Criterion("apparent_charge_pc", maximum=100.0, decision="guard_band")
    found = judge(criterion, Measured(value, 5.0))
    assert found.as_dict()["statement"] == statement
    assert found.as_dict()["standard_uncertainty"] == 2.5
    _, covered = combine([found, finding("test", "not_valid")])
    assert covered[0].as_dict()["statement"] is None


@pytest.mark.parametrize(("asked", "is_told"), [({}, False), ({"statement": "four_states"}, True)])
def test_whether_a_statement_was_agreed_stands_in_the_finding(asked, is_told):
    row = {"quantity": "resistance_ohm", "max": 1.0, "decision": "guard_band", **asked}
    step = parse_step({"kind": "winding_resistance", "procedure": {"criteria": [row]}})
    found = judge(step.criteria[0], Measured(0.5, 0.1)).as_dict()
    assert ("has_four_states" in found, found["statement"]) == (is_told, "pass")


def test_another_kind_of_statement_is_refused():
    row = {"quantity": "resistance_ohm", "max": 1.0, "statement": "five"}
    with pytest.raises(BadStep, match=r"criteria\[0\].statement: “five” is no kind of statement; use one of two"):
        parse_step({"kind": "winding_resistance", "procedure": {"criteria": [row]}})


def test_half_a_guard_band():
    criterion = Criterion("apparent_charge_pc", maximum=100.0, decision="guard_band", guard_factor=0.5)
    assert judge(criterion, Measured(97.0, 5.0)).verdict == "conforms"


def test_a_guard_band_without_uncertainty_is_inconclusive():
    criterion = Criterion("apparent_charge_pc", maximum=100.0, decision="guard_band")
    assert judge(criterion, Measured(1.0, None)).verdict == "inconclusive"


@pytest.mark.parametrize(
    ("limits", "known", "verdict"),
    [
        ({"minimum": 15}, {"at_least": 30}, "conforms"),
        ({"minimum": 35}, {"at_least": 30}, "inconclusive"),
        ({"minimum": 15}, {"at_most": 10}, "does_not_conform"),
        ({"maximum": 120}, {"at_least": 120}, "does_not_conform"),
        ({"maximum": 120}, {"at_least": 60}, "inconclusive"),
        ({"maximum": 120}, {"at_most": 60}, "conforms"),
        ({"maximum": 120}, {}, "inconclusive"),
    ],
)
def test_only_a_bound_is_known(limits, known, verdict):
    made = judge(Criterion("inception_voltage_kv", **limits), Measured(None, words="Seen so far.", **known))
    assert (made.verdict, made.value, made.reason) == (verdict, None, "Seen so far.")


def test_nan_is_never_a_pass():
    assert judge(Criterion("apparent_charge_pc", maximum=1.0), Measured(float("nan"), 0.1)).verdict == "inconclusive"


@pytest.mark.parametrize(
    ("test", "unit", "verdict"),
    [
        ("conforms", "conforms", "conforms"),
        ("conforms", "does_not_conform", "does_not_conform"),
        ("conforms", "inconclusive", "inconclusive"),
        ("not_valid", "conforms", "not_valid"),
        ("not_valid", "does_not_conform", "not_valid"),
        ("not_valid", "inconclusive", "not_valid"),
        ("inconclusive", "conforms", "inconclusive"),
        ("inconclusive", "does_not_conform", "inconclusive"),
    ],
)
def test_test_before_unit(test, unit, verdict):
    made, findings = combine([finding("test", test), finding("unit", unit)])
    assert made == verdict
    if verdict == "not_valid":
        assert findings[1].verdict == "not_valid"
        assert findings[1].reason.endswith("The unit was not judged.")


@pytest.mark.parametrize("test", ["conforms", "inconclusive", "not_valid"])
def test_a_disruptive_discharge_stands_whatever_the_test(test):
    made, findings = combine(
        [
            finding("test", test),
            finding("unit", "does_not_conform", "disruptive_discharges"),
            finding("unit", "conforms"),
        ]
    )
    assert made == "does_not_conform"
    assert "not_valid" not in [f.verdict for f in findings]


def test_a_failure_after_too_much_voltage_is_the_tests_fault():
    made, findings = combine([finding("unit", "does_not_conform")], overstressed="Too much.")
    assert (made, findings[0].verdict, findings[0].reason) == (
        "not_valid",
        "not_valid",
        "So. Too much. The unit was not judged.",
    )
    assert combine([finding("unit", "conforms")], overstressed="Too much.")[0] == "conforms"


def test_nothing_conforms_without_a_judged_unit():
    assert combine([finding("test", "conforms")])[0] == "inconclusive"


def test_order_of_findings_never_matters():
    verdicts = ("conforms", "inconclusive", "not_valid")
    for test, unit in itertools.product(verdicts, ("conforms", "does_not_conform", "inconclusive")):
        pair = [finding("test", test), finding("unit", unit)]
        assert combine(pair)[0] == combine(pair[::-1])[0]
