"""Laws of metrology: what may not change when units, order or budget lines do."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from equipment.metrology.budget import evaluate_budget, read_budget
from equipment.metrology.conformity import DECISION_RULES, decide
from equipment.metrology.control import nelson_rules
from equipment.metrology.formula import FormulaError, parse
from equipment.metrology.lines import fit_line
from equipment.metrology.rounding import rounded
from equipment.metrology.validity import CalibrationPeriod, OutOfService, board_class, calibration_status

DAY_ZERO = date(2026, 1, 1)
values = st.floats(-1e3, 1e3).map(lambda number: round(number, 3))
positive = st.floats(0.001, 1e3).map(lambda number: round(number, 3))
rules = st.sampled_from([rule for rule in DECISION_RULES if rule != "customer_defined"])
order = {"conforms": 0, "inconclusive": 1, "does_not_conform": 2}


@given(value=values, expanded=positive, limit=values, rule=rules, exponent=st.integers(-20, 20))
def test_scaling_units_changes_no_verdict(value, expanded, limit, rule, exponent):
    scale = 2.0**exponent  # exact in binary, so nothing but the unit changes
    plain = decide(value=value, expanded_uncertainty=expanded, maximum=limit, rule=rule)
    scaled = decide(value=value * scale, expanded_uncertainty=expanded * scale, maximum=limit * scale, rule=rule)
    assert (scaled.verdict, scaled.statement) == (plain.verdict, plain.statement)
    assert scaled.probability_of_conformity == pytest.approx(plain.probability_of_conformity, rel=1e-9, abs=1e-300)


@given(value=values, expanded=positive, limit=values, rule=rules)
def test_a_minimum_is_the_mirror_of_a_maximum(value, expanded, limit, rule):
    upper = decide(value=value, expanded_uncertainty=expanded, maximum=limit, rule=rule)
    lower = decide(value=-value, expanded_uncertainty=expanded, minimum=-limit, rule=rule)
    assert (upper.verdict, upper.statement) == (lower.verdict, lower.statement)
    assert upper.probability_of_conformity == pytest.approx(lower.probability_of_conformity, rel=1e-12)


@given(value=values, further=st.floats(0, 100), expanded=positive, limit=values, rule=rules)
def test_moving_outward_never_betters_the_verdict(value, further, expanded, limit, rule):
    here = decide(value=value, expanded_uncertainty=expanded, maximum=limit, rule=rule)
    outward = decide(value=value + further, expanded_uncertainty=expanded, maximum=limit, rule=rule)
    assert order[outward.verdict] >= order[here.verdict]
    assert outward.probability_of_conformity <= here.probability_of_conformity + 1e-12


@given(value=values, expanded=positive, more=positive, limit=values, rule=st.sampled_from(["guard_band", "iso_14253"]))
def test_more_uncertainty_never_turns_a_doubt_into_a_statement(value, expanded, more, limit, rule):
    sure = decide(value=value, expanded_uncertainty=expanded, maximum=limit, rule=rule)
    unsure = decide(value=value, expanded_uncertainty=expanded + more, maximum=limit, rule=rule)
    assert unsure.verdict in (sure.verdict, "inconclusive")


inputs = st.builds(
    lambda value, u, freedom: {"value": value, "standard_uncertainty": u, "degrees_of_freedom": freedom},
    values,
    positive,
    st.sampled_from([3, 8, 40, None]),
)


def budget_of(tables, **more):
    named = [{"name": f"x{n}"} | table for n, table in enumerate(tables)]
    return {"model": " + ".join(f"x{n}" for n in range(len(tables))), "inputs": named} | more


@given(tables=st.lists(inputs, min_size=1, max_size=6), further=inputs)
def test_adding_a_contribution_never_shrinks_the_uncertainty(tables, further):
    # U itself with a fixed k: with k from few degrees of freedom a well-known extra contribution may lower k.
    before = evaluate_budget(read_budget(budget_of(tables, coverage_factor=2))).statements["model"]
    after = evaluate_budget(read_budget(budget_of([*tables, further], coverage_factor=2))).statements["model"]
    assert after.standard_uncertainty >= before.standard_uncertainty
    assert after.expanded_uncertainty >= before.expanded_uncertainty


@given(tables=st.lists(inputs, min_size=1, max_size=6), exponent=st.integers(-10, 10))
def test_units_scale_through_a_budget(tables, exponent):
    scale = 2.0**exponent
    scaled = [table | {key: table[key] * scale for key in ("value", "standard_uncertainty")} for table in tables]
    plain = evaluate_budget(read_budget(budget_of(tables))).statements["model"]
    other = evaluate_budget(read_budget(budget_of(scaled))).statements["model"]
    assert other.expanded_uncertainty == pytest.approx(plain.expanded_uncertainty * scale, rel=1e-12)
    assert other.coverage_factor == pytest.approx(plain.coverage_factor, rel=1e-12)
    assert [line.share for line in other.contributions] == pytest.approx([line.share for line in plain.contributions])


@given(tables=st.lists(inputs, min_size=2, max_size=5), r=st.floats(-0.2, 0.2))
def test_shares_add_up_to_one_with_and_without_correlation(tables, r):
    table = budget_of(tables, correlations=[["x0", "x1", r]])
    statement = evaluate_budget(read_budget(table)).statements["model"]
    assert sum(line.share for line in statement.contributions) == pytest.approx(1)
    assert statement.expanded_uncertainty == pytest.approx(statement.coverage_factor * statement.standard_uncertainty)


days = st.integers(-800, 800).map(lambda n: DAY_ZERO + timedelta(days=n))
calibrations = st.builds(
    lambda performed, length, passed: CalibrationPeriod(performed, performed + timedelta(days=length), passed),
    days,
    st.integers(0, 800),
    st.booleans(),
)
absences = st.builds(
    lambda kind, since, length: OutOfService(kind, since, None if length is None else since + timedelta(days=length)),
    st.sampled_from(["quarantined", "in_repair", "retired"]),
    days,
    st.none() | st.integers(0, 400),
)


@given(history=st.lists(calibrations, max_size=6), away=st.lists(absences, max_size=3), on=days, data=st.data())
def test_status_does_not_depend_on_order(history, away, on, data):
    plain = calibration_status(history, on, out_of_service=away)
    shuffled = calibration_status(
        data.draw(st.permutations(history)), on, out_of_service=data.draw(st.permutations(away))
    )
    assert shuffled == plain
    assert board_class(shuffled) == board_class(plain)


@given(history=st.lists(calibrations, max_size=6), away=st.lists(absences, max_size=3), on=days)
def test_valid_means_a_passed_calibration_covers_the_day(history, away, on):
    status = calibration_status(history, on, out_of_service=away)
    if status.is_valid:
        assert status.calibration in history
        assert status.calibration.passed
        assert status.calibration.performed_on <= on <= status.calibration.due_on
        assert status.days_left == (status.calibration.due_on - on).days
        assert not any(period.covers(on) for period in away)
    else:
        assert board_class(status) in ("overdue", "out_of_service")


@given(history=st.lists(calibrations, max_size=6), on=days, later=st.integers(1, 500), length=st.integers(0, 500))
def test_a_later_calibration_changes_no_earlier_answer(history, on, later, length):
    performed = on + timedelta(days=later)
    more = [*history, CalibrationPeriod(performed, performed + timedelta(days=length))]
    assert calibration_status(more, on).is_valid == calibration_status(history, on).is_valid


@given(value=st.floats(-1e9, 1e9), uncertainty=st.floats(1e-9, 1e9))
def test_rounding_stays_within_half_a_step_and_keeps_two_digits(value, uncertainty):
    answer = rounded(value, uncertainty)
    step = 10.0**-answer.decimals
    assert abs(float(answer.value_text) - value) <= step * (0.5 + 1e-6) + abs(value) * 1e-15
    assert abs(float(answer.uncertainty_text) - uncertainty) <= step * (0.5 + 1e-6)
    assert float(answer.uncertainty_text) >= uncertainty * 0.95
    assert 9.5 <= round(float(answer.uncertainty_text) / step, 6) < 99.5


@given(text=st.text(alphabet="ab+-*/^().,0123456789e sqrtlog", max_size=60))
@settings(max_examples=300)
def test_any_text_is_read_or_refused_in_words(text):
    refusal, value = None, 0.0
    try:
        value = parse(text, {"a", "b"}).evaluate({"a": 1.5, "b": -0.5})
    except FormulaError as error:
        refusal = error
    assert np.isfinite(value)
    assert refusal is None or (refusal.place and refusal.mend)


@given(x=st.floats(0.1, 3), y=st.floats(0.1, 3))
def test_derivative_agrees_with_a_central_difference(x, y):
    formula = parse("x ** y * exp(-x) + log(x + y) / sqrt(y) - atan(x * y)", {"x", "y"})
    exact, h = formula.linearise({"x": x, "y": y}).derivatives, 1e-5
    by_x = (formula.evaluate({"x": x + h, "y": y}) - formula.evaluate({"x": x - h, "y": y})) / (2 * h)
    by_y = (formula.evaluate({"x": x, "y": y + h}) - formula.evaluate({"x": x, "y": y - h})) / (2 * h)
    assert exact["x"] == pytest.approx(by_x, abs=1e-5)
    assert exact["y"] == pytest.approx(by_y, abs=1e-5)


@given(points=st.lists(st.tuples(values, values), min_size=3, max_size=12), slope=values, shift=values)
def test_a_line_follows_what_is_added_to_it(points, slope, shift):
    x, y = (np.array(column) for column in zip(*points, strict=True))
    assume(np.ptp(x) > 1)
    plain, tilted = fit_line(x, y), fit_line(x, y + shift + slope * x)
    assert tilted.slope == pytest.approx(plain.slope + slope, rel=1e-6, abs=1e-6)
    assert tilted.residual_deviation == pytest.approx(plain.residual_deviation, rel=1e-6, abs=1e-6)
    backwards = fit_line(x[::-1], y[::-1])
    assert backwards.slope == pytest.approx(plain.slope, rel=1e-9, abs=1e-9)


@given(series=st.lists(values, min_size=1, max_size=40))
def test_nelson_signals_mirror(series):
    assert nelson_rules(series, centre=0, sigma=1) == nelson_rules([-value for value in series], centre=0, sigma=1)
