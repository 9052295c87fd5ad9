"""The formula grammar: what it reads, what it refuses, and its exact derivatives."""

from __future__ import annotations

import math

import numpy as np
import pytest

from equipment.metrology.formula import FUNCTIONS, MAX_DEPTH, MAX_LENGTH, FormulaError, parse


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1 + 2 * 3", 7),
        ("(1 + 2) * 3", 9),
        ("10 - 4 - 3", 3),
        ("100 / 10 / 5", 2),
        ("2 ** 3 ** 2", 512),
        ("-2 ** 2", -4),
        ("2 ** -1", 0.5),
        ("2 * -3", -6),
        ("--3", 3),
        ("+3", 3),
        (".5e1 + 1.", 6),
        ("sqrt(16)", 4),
        ("exp(0) + log(1)", 1),
        ("sin(pi / 2) + cos(0) + tan(0)", 2),
        ("asin(1) + acos(1) + atan(0)", math.pi / 2),
        ("abs(-3) + min(1, 2) + max(1, 2)", 6),
        ("max(0.75 * 2, min(4, 9))", 4),
    ],
)
def test_value(text, value):
    assert parse(text, ()).evaluate({}) == pytest.approx(value, abs=1e-15)


def test_greek_names_and_order_of_names():
    formula = parse("δα * θ + δα / ls_1", {"δα", "θ", "ls_1", "unused"})
    assert formula.names() == ("δα", "θ", "ls_1")
    assert formula.evaluate({"δα": 2, "θ": 3, "ls_1": 4}) == 6.5


@pytest.mark.parametrize(
    ("text", "slope"),
    [
        ("x ** 3", 3 * 0.7**2),
        ("2 ** x", 2**0.7 * math.log(2)),
        ("x ** x", 0.7**0.7 * (math.log(0.7) + 1)),
        ("sqrt(x)", 0.5 / math.sqrt(0.7)),
        ("exp(2 * x)", 2 * math.exp(1.4)),
        ("log(x)", 1 / 0.7),
        ("sin(x)", math.cos(0.7)),
        ("cos(x)", -math.sin(0.7)),
        ("tan(x)", 1 / math.cos(0.7) ** 2),
        ("asin(x)", 1 / math.sqrt(1 - 0.49)),
        ("acos(x)", -1 / math.sqrt(1 - 0.49)),
        ("atan(x)", 1 / 1.49),
        ("abs(-x)", 1),
        ("min(x, 1)", 1),
        ("max(x, 1)", 0),
        ("1 / x - x", -1 / 0.49 - 1),
        ("x ** 0", 0),
    ],
)
def test_derivative_of_each_operation(text, slope):
    assert parse(text, {"x"}).linearise({"x": 0.7}).derivatives["x"] == pytest.approx(slope, rel=1e-14)


def test_power_with_fixed_whole_exponent_has_a_derivative_at_and_below_zero():
    assert parse("x ** 2", {"x"}).linearise({"x": -3}).derivatives["x"] == -6
    assert parse("x ** 2", {"x"}).linearise({"x": 0}).derivatives["x"] == 0


@pytest.mark.parametrize(
    ("text", "place", "part"),
    [
        ("", "column 1", "empty"),
        ("v +", "column 4", "ends too early"),
        ("v ^ 2", "column 3", "write ** for a power"),
        ("1,5 * v", "column 2", "decimal mark"),
        ("v w", "column 3", "“w” is not expected here"),
        ("2 v", "column 3", "not expected here"),
        ("(v", "column 3", "close the parenthesis"),
        ("v)", "column 2", "not expected here"),
        ("sin v", "column 5", "write sin(…)"),
        ("min(v)", "column 6", "give min two arguments"),
        ("__import__('os')", "column 1", "not known"),
        ("v.real", "column 2", "not expected here"),
        ("v[0]", "column 2", "not expected here"),
        ("lambda: 1", "column 1", "not known"),
        ("v // 2", "column 4", "not expected here"),
        ("1e999", "column 1", "too large"),
        ("v\n+ 1", None, ""),
    ],
)
def test_refusals_name_place_and_mend(text, place, part):
    if place is None:
        assert parse(text, {"v"}).evaluate({"v": 1}) == 2  # white space of any kind separates
        return
    with pytest.raises(FormulaError) as caught:
        parse(text, {"v"})
    assert caught.value.place == place
    assert part in str(caught.value)
    assert caught.value.mend


def test_length_and_depth_are_limited():
    with pytest.raises(FormulaError, match=f"has {MAX_LENGTH + 2} characters"):
        parse("1" + "+1" * (MAX_LENGTH // 2) + " ", ())
    assert parse("1" + "+1" * (MAX_LENGTH // 2 - 1), ()).evaluate({}) == MAX_LENGTH / 2
    for deep in ("(" * MAX_DEPTH + "1" + ")" * MAX_DEPTH, "-" * MAX_DEPTH + "1", "1" + "**1" * MAX_DEPTH):
        with pytest.raises(FormulaError, match="nested too deep"):
            parse(deep, ())
    assert parse("(" * (MAX_DEPTH - 1) + "1" + ")" * (MAX_DEPTH - 1), ()).evaluate({}) == 1


@pytest.mark.parametrize("name", [*FUNCTIONS, "pi"])
def test_reserved_names_are_refused(name):
    with pytest.raises(FormulaError, match="rename the input"):
        parse("1", {name})


def test_name_that_is_no_word_is_refused():
    with pytest.raises(FormulaError, match="“a b” cannot be a name"):
        parse("1", {"a b"})


@pytest.mark.parametrize(
    ("text", "fact", "column"),
    [
        ("1 / (x - 1)", "Division by zero", 3),
        ("sqrt(-x)", "The square root of -1 is not a real number", 1),
        ("log(x - 1)", "The logarithm of 0 is not a real number", 1),
        ("asin(2 * x)", "asin of 2 is not a real number", 1),
        ("exp(1000 * x)", "The result is too large", 1),
        ("9 ** 9 ** 9", "The result is too large", 3),
        ("(-x) ** 0.5", "-1 ** 0.5 has no value or no derivative", 6),
        ("1e200 * 1e200", "The result is too large", 7),
    ],
)
def test_no_value_is_refused_with_its_column(text, fact, column):
    with pytest.raises(FormulaError) as caught:
        parse(text, {"x"}).evaluate({"x": 1})
    assert (caught.value.fact, caught.value.place) == (fact, f"column {column}")


@pytest.mark.parametrize("text", ["sqrt(x)", "abs(x)", "min(x, 0)", "max(x, -x)", "acos(x + 1)", "x ** 0.5", "0 ** x"])
def test_kinks_have_a_value_but_no_derivative(text):
    formula = parse(text, {"x"})
    assert math.isfinite(formula.evaluate({"x": 0}))
    with pytest.raises(FormulaError, match="no derivative"):
        formula.linearise({"x": 0})


def test_missing_and_infinite_values_are_refused():
    with pytest.raises(FormulaError, match="“x” has no value"):
        parse("x", {"x"}).evaluate({})
    with pytest.raises(FormulaError, match="“x” is nan"):
        parse("x", {"x"}).evaluate({"x": math.nan})


def test_many_draws_agree_with_one_by_one():
    text = "sqrt(x) + exp(x) - log(x) * sin(x) / cos(x) + tan(x) + asin(x) + acos(x) + atan(x) + abs(-x) ** 2"
    formula = parse(f"{text} + min(x, 0.5) - max(x, y)", {"x", "y"})
    x, y = np.linspace(0.1, 0.9, 7), np.full(7, 0.4)
    singly = [formula.evaluate({"x": a, "y": b}) for a, b in zip(x, y, strict=True)]
    np.testing.assert_allclose(formula.evaluate_many({"x": x, "y": y}), singly, rtol=1e-14)


def test_many_draws_mark_what_has_no_value():
    assert np.isnan(parse("sqrt(x)", {"x"}).evaluate_many({"x": np.array([4.0, -1.0])})).tolist() == [False, True]
