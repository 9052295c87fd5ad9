"""Reading, refusing and evaluating budgets."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
import uncertainties
from uncertainties import umath

from equipment.metrology.budget import CORRELATED_NOTE, evaluate_budget, read_budget
from equipment.metrology.inputs import BudgetError, Input, from_observations, read_input
from equipment.metrology.monte_carlo import propagate
from equipment.metrology.propagation import (
    correlation_matrix,
    covariance_of_results,
    coverage_factor,
    effective_degrees_of_freedom,
    is_possible_correlation,
)

A = {"name": "a", "value": 2, "standard_uncertainty": 0.3, "degrees_of_freedom": 4}
B = {"name": "b", "value": 5, "half_width": 0.6, "distribution": "rectangular"}


def budget(**changes):
    return {"model": "a * b", "inputs": [A, B]} | changes


def test_answer_has_the_members_of_the_contract():
    answer = evaluate_budget(read_budget(budget(measurand="area", unit="m²"))).as_dict()
    assert set(answer) == {
        *("measurand", "unit", "coverage_probability", "value", "standard_uncertainty"),
        *("effective_degrees_of_freedom", "coverage_factor", "expanded_uncertainty", "contributions", "notes"),
    }
    assert answer["contributions"][0] == {
        "name": "a",
        "sensitivity": 5.0,
        "standard_uncertainty": 0.3,
        "contribution": 1.5,
        "share": pytest.approx(2.25 / 2.73),  # 1.5² / (1.5² + (2 · 0.6/√3)²)
    }
    assert answer["standard_uncertainty"] == pytest.approx(math.sqrt(2.73))
    assert answer["effective_degrees_of_freedom"] == pytest.approx(2.73**2 / (1.5**4 / 4))  # 5.89, truncated to 5
    assert answer["coverage_factor"] == pytest.approx(2.570582, abs=5e-7)  # t for 95 %, 5 degrees, from memory
    assert answer["expanded_uncertainty"] == pytest.approx(2.570582 * math.sqrt(2.73), rel=1e-6)


@pytest.mark.parametrize(
    ("table", "u", "freedom"),
    [
        ({"value": 1, "standard_uncertainty": 0.5}, 0.5, math.inf),
        ({"value": 1, "standard_uncertainty": 0.5, "degrees_of_freedom": None}, 0.5, math.inf),
        ({"value": 1, "half_width": 3, "distribution": "rectangular"}, 3 / math.sqrt(3), math.inf),
        ({"value": 1, "half_width": 3, "distribution": "triangular"}, 3 / math.sqrt(6), math.inf),
        ({"value": 1, "half_width": 3, "distribution": "arcsine", "degrees_of_freedom": 8}, 3 / math.sqrt(2), 8),
        ({"value": 1, "expanded_uncertainty": 3, "coverage_factor": 2}, 1.5, math.inf),
        ({"observations": [1, 2, 3, 4]}, math.sqrt(5 / 3) / 2, 3),
    ],
)
def test_each_kind_of_input(table, u, freedom):
    item = read_input({"name": "x", "note": "as read"} | table, "inputs[0]")
    assert item.standard_uncertainty == pytest.approx(u, rel=1e-15)
    assert item.degrees_of_freedom == freedom


@pytest.mark.parametrize(
    ("table", "message"),
    [
        (3, 'inputs[0]: is not an object; write {"name": …, "value": …, …}'),
        ({"value": 1}, "inputs[0].name: is missing or no text; name the input as the model does"),
        ({"name": "x", "value": 1}, "inputs[0]: “x” states no uncertainty; state exactly one of"),
        (A | {"half_width": 1}, "inputs[0]: “a” states standard_uncertainty and half_width; state exactly one of"),
        (A | {"coverage_factor": 2}, "inputs[0].coverage_factor: is not expected here; with standard_uncertainty"),
        (A | {"value": "2"}, "inputs[0].value: '2' is not a number; write a number without quotes"),
        (A | {"value": True}, "inputs[0].value: True is not a number; write a number without quotes"),
        (A | {"value": 10**400}, "inputs[0].value: is not finite; write a finite number"),
        (
            A | {"standard_uncertainty": -1},
            "inputs[0].standard_uncertainty: -1 is too small; write a number at least 0",
        ),
        (A | {"degrees_of_freedom": 0.5}, "inputs[0].degrees_of_freedom: 0.5 is too small; write a number at least 1"),
        (B | {"distribution": "uniform"}, "inputs[0].distribution: 'uniform' is not known; write one of rectangular,"),
        (B | {"distribution": []}, "inputs[0].distribution: [] is not known; write one of"),
        ({"name": "b", "value": 1, "half_width": 1}, "inputs[0].distribution: is missing; write one of"),
        ({"name": "c", "value": 1, "expanded_uncertainty": 1}, "inputs[0].coverage_factor: is missing; add it as a"),
        (
            {"name": "c", "value": 1, "expanded_uncertainty": 1, "coverage_factor": 0},
            "inputs[0].coverage_factor: 0 is too small; write a number above 0",
        ),
        ({"name": "d", "observations": [1]}, "inputs[0].observations: needs a list of at least two numbers"),
        ({"name": "d", "observations": [1, "x"]}, "inputs[0].observations.[1]: 'x' is not a number"),
        ({"name": "d", "value": 1, "observations": [1, 2]}, "inputs[0].value: is not expected here; with observations"),
    ],
)
def test_refused_inputs(table, message):
    with pytest.raises(BudgetError) as caught:
        read_input(table, "inputs[0]")
    assert str(caught.value).startswith(message)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"colour": 1}, "colour: is not known; use only correlate_observations, "),
        ({"inputs": []}, "inputs: is missing or empty"),
        ({"inputs": [A, A]}, "inputs[1].name: “a” occurs twice"),
        ({"models": {"m": "a"}}, "model: needs model or models, one of the two"),
        ({"model": 3}, "model: is no formula"),
        ({"model": "a"}, "inputs[1]: “b” does not occur in the model"),
        ({"model": "a * b * c"}, "model, column 9: “c” is not known"),
        ({"model": "a / (b - 5)"}, "model, column 3: Division by zero"),
        ({"model": "sqrt(a - 2) + b"}, "model, column 1: sqrt has no derivative at 0"),
        ({"coverage_probability": 95}, "coverage_probability: 95 is no probability"),
        ({"coverage_factor": 0}, "coverage_factor: 0 is too small"),
        ({"unit": 5}, "unit: is no text"),
        ({"correlations": {}}, "correlations: is no list"),
        ({"correlations": [["a", "b"]]}, "correlations[0]: is not [name, name, number]"),
        ({"correlations": [["a", "c", 0.1]]}, "correlations[0]: 'c' is no input; use one of a, b"),
        ({"correlations": [["a", "a", 0.1]]}, "correlations[0]: pairs an input with itself"),
        ({"correlations": [["a", "b", 1.1]]}, "correlations[0]: 1.1 is no correlation"),
        ({"correlations": [["a", "b", "x"]]}, "correlations[0].[2]: 'x' is not a number"),
        ({"correlations": [["a", "b", 0.1], ["b", "a", 0.2]]}, "correlations[1]: repeats a pair"),
        ({"correlate_observations": "yes"}, "correlate_observations: is neither true nor false"),
        ({"inputs": [A | {"value": 1e200, "standard_uncertainty": 1e200}, B | {"value": 1}]}, "inputs: an uncertainty"),
    ],
)
def test_refused_budgets(changes, message):
    with pytest.raises(BudgetError) as caught:
        evaluate_budget(read_budget(budget(**changes)))
    assert str(caught.value).startswith(message)


def test_contradicting_correlations_are_refused():
    table = {
        "model": "a + b + c",
        "inputs": [{"name": name, "value": 1, "standard_uncertainty": 1} for name in "abc"],
        "correlations": [["a", "b", 0.9], ["b", "c", 0.9], ["a", "c", -0.9]],
    }
    with pytest.raises(BudgetError, match="correlations: the correlations contradict each other"):
        read_budget(table)


@pytest.mark.parametrize("models", [{}, [], "a"])
def test_models_must_be_formulas_by_name(models):
    table = {"models": models, "inputs": [A]}
    with pytest.raises(BudgetError, match="models: is no object of formulas"):
        read_budget(table)


def test_correlated_inputs_have_no_effective_degrees_and_say_so():
    answer = evaluate_budget(read_budget(budget(model="a + b", correlations=[["a", "b", 1]]))).as_dict()
    assert answer["standard_uncertainty"] == pytest.approx(0.3 + 0.6 / math.sqrt(3))  # r = 1: they simply add
    assert answer["effective_degrees_of_freedom"] is None
    assert answer["coverage_factor"] == pytest.approx(1.959964, abs=5e-7)  # normal, 95 %
    assert answer["notes"] == [CORRELATED_NOTE]
    assert sum(line["share"] for line in answer["contributions"]) == pytest.approx(1)


def test_correlation_with_an_input_that_does_not_count_leaves_the_degrees():
    table = {"models": {"m": "a", "n": "a + b"}, "inputs": [A, B], "correlations": [["a", "b", 0.5]]}
    result = evaluate_budget(read_budget(table))
    assert result.statements["m"].effective_degrees_of_freedom == pytest.approx(4)
    assert result.statements["m"].notes == ()
    assert result.statements["n"].effective_degrees_of_freedom is None


def test_full_anticorrelation_cancels_without_a_negative_root():
    table = budget(
        model="a + b",
        inputs=[A | {"standard_uncertainty": 0.1}, {"name": "b", "value": 1, "standard_uncertainty": 0.1}],
        correlations=[["a", "b", -1]],
    )
    answer = evaluate_budget(read_budget(table)).as_dict()
    assert answer["standard_uncertainty"] == pytest.approx(0, abs=1e-9)


def test_fixed_coverage_factor_wins():
    answer = evaluate_budget(read_budget(budget(coverage_factor=2))).as_dict()
    assert answer["expanded_uncertainty"] == 2 * answer["standard_uncertainty"]


def test_nothing_uncertain():
    table = {"model": "a", "inputs": [{"name": "a", "value": 7, "standard_uncertainty": 0}]}
    answer = evaluate_budget(read_budget(table)).as_dict()
    assert (answer["expanded_uncertainty"], answer["effective_degrees_of_freedom"]) == (0.0, None)
    assert answer["contributions"][0]["share"] == 0.0


def test_observations_of_unequal_length_stay_uncorrelated_and_stated_pairs_win():
    inputs = [
        {"name": "a", "observations": [1, 2, 3]},
        {"name": "b", "observations": [2, 4, 6]},
        {"name": "c", "observations": [1, 2]},
    ]
    table = {"model": "a + b + c", "inputs": inputs, "correlate_observations": True}
    assert read_budget(table).correlations == pytest.approx(np.array([[1, 1, 0], [1, 1, 0], [0, 0, 1]]))
    assert read_budget(table | {"correlations": [["a", "b", 0.5]]}).correlations[0, 1] == 0.5


def test_agrees_with_two_independent_engines():
    table = {
        "models": {"p": "a ** 2 * exp(-b) + atan(c / a)", "q": "sqrt(a * b) / cos(c)"},
        "inputs": [
            {"name": "a", "value": 1.7, "standard_uncertainty": 0.02, "degrees_of_freedom": 7},
            {"name": "b", "value": 0.4, "standard_uncertainty": 0.01, "degrees_of_freedom": 12},
            {"name": "c", "value": 0.9, "standard_uncertainty": 0.03, "degrees_of_freedom": 5},
        ],
    }
    result = evaluate_budget(read_budget(table))
    a, b, c = (uncertainties.ufloat(i["value"], i["standard_uncertainty"]) for i in table["inputs"])
    theirs = {"p": a**2 * umath.exp(-b) + umath.atan(c / a), "q": umath.sqrt(a * b) / umath.cos(c)}
    x, y, z = (GTC.ureal(i["value"], i["standard_uncertainty"], i["degrees_of_freedom"]) for i in table["inputs"])
    others = {"p": x**2 * GTC.exp(-y) + GTC.atan(z / x), "q": GTC.sqrt(x * y) / GTC.cos(z)}
    for name, statement in result.statements.items():
        assert statement.value == pytest.approx(theirs[name].nominal_value, rel=1e-14)
        assert statement.standard_uncertainty == pytest.approx(theirs[name].std_dev, rel=1e-13)
        assert statement.standard_uncertainty == pytest.approx(others[name].u, rel=1e-13)
        assert statement.effective_degrees_of_freedom == pytest.approx(others[name].df, rel=1e-12)
    r = uncertainties.correlation_matrix(list(theirs.values()))[0, 1]
    assert result.correlations[0, 1] == pytest.approx(r, rel=1e-12)
    assert result.as_dict()["correlation_matrix"]["q"]["p"] == pytest.approx(r, rel=1e-12)


def test_degrees_that_should_be_whole_survive_rounding():
    part = 0.1 * math.sqrt(3)
    freedom = effective_degrees_of_freedom([part, 0.0], [3, math.inf])
    assert coverage_factor(0.95, freedom * (1 - 1e-15)) == pytest.approx(3.182446, abs=5e-7)  # t, 3 degrees, memory


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: coverage_factor(1.0), "must lie between 0 and 1"),
        (lambda: coverage_factor(0.95, 0.5), "must be at least 1"),
        (lambda: coverage_factor(0.95, math.nan), "must be at least 1"),
        (lambda: effective_degrees_of_freedom([1.0], [0.0]), "must be above 0"),
        (lambda: correlation_matrix([[1, 2, 3]]), "is square"),
        (lambda: covariance_of_results([[1, 2, 3]], [1, 2]), "broadcast"),
    ],
)
def test_refused_numbers(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_small_parts_of_propagation():
    assert effective_degrees_of_freedom([], []) == math.inf
    assert effective_degrees_of_freedom([1e-200, 1e-200], [4, 4]) == pytest.approx(8)
    assert correlation_matrix([[0, 0], [0, 4]]).tolist() == [[1, 0], [0, 1]]
    assert is_possible_correlation([[1, 1], [1, 1]])
    assert from_observations("v", [1, 3]) == Input("v", 2.0, 1.0, 1.0, "normal", (1.0, 3.0))


@pytest.mark.parametrize(
    ("table", "low", "high"),
    [  # exact ends of the central 95 % of each shape with half width 1
        ({"half_width": 1, "distribution": "rectangular"}, -0.95, 0.95),
        ({"half_width": 1, "distribution": "triangular"}, -(1 - math.sqrt(0.05)), 1 - math.sqrt(0.05)),
        ({"half_width": 1, "distribution": "arcsine"}, -math.cos(math.pi * 0.025), math.cos(math.pi * 0.025)),
        ({"standard_uncertainty": 1}, -1.959964, 1.959964),
        ({"standard_uncertainty": 1, "degrees_of_freedom": 5}, -2.570582, 2.570582),
    ],
)
def test_monte_carlo_draws_each_shape(table, low, high):
    one = read_budget({"model": "x", "inputs": [{"name": "x", "value": 0} | table]})
    result = propagate(one, trials=400_000, seed=11)["model"]
    assert (result.low, result.high) == pytest.approx((low, high), abs=0.025)


def test_monte_carlo_keeps_correlation_and_is_repeatable():
    one = read_budget(
        budget(model="a + b", inputs=[A | {"degrees_of_freedom": None}, B], correlations=[["a", "b", -1]])
    )
    # Joined by a copula, a normal and a rectangular draw correlate by E[Z √3 (2Φ(Z) − 1)] = √(3/π) at the most.
    b = 0.6 / math.sqrt(3)
    expected = math.sqrt(0.3**2 + b**2 - 2 * math.sqrt(3 / math.pi) * 0.3 * b)
    result = propagate(one, trials=100_000, seed=4)["model"]
    assert result.standard_uncertainty == pytest.approx(expected, rel=0.02)
    assert propagate(one, trials=100_000, seed=4)["model"] == result


def test_monte_carlo_refuses_draws_without_value_and_odd_numbers_of_trials():
    one = read_budget({"model": "sqrt(a)", "inputs": [{"name": "a", "value": 1, "standard_uncertainty": 1}]})
    with pytest.raises(BudgetError, match=r"model: \d+ of 1000 draws have no value"):
        propagate(one, trials=1000)
    with pytest.raises(ValueError, match="between 1000 and 5 000 000"):
        propagate(one, trials=10)


def test_monte_carlo_of_a_model_without_inputs():
    both = read_budget({"models": {"m": "a", "n": "2 * pi"}, "inputs": [A]})
    assert propagate(both, trials=1000)["n"].standard_uncertainty == pytest.approx(0, abs=1e-12)
