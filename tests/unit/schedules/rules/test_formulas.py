"""The evaluator of formulas: what it reads, what it gives, and everything that it refuses."""

from __future__ import annotations

import math
import time

import pytest

from schedules.rules.errors import FormulaError
from schedules.rules.formulas import read_formula

DOMAIN = {"tuned_order": (1.05, 100.0), "highest_voltage_kv": (0.1, 1200.0), "altitude_m": (-430.0, 6000.0)}


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1 + 2 * 3", 7),
        ("(1 + 2) * 3", 9),
        ("10 - 4 - 3", 3),
        ("100 / 10 / 5", 2),
        ("2 ** 3 ** 2", 512),
        ("-2 ** 2", -4),
        ("2 ** -1", 0.5),
        ("--3", 3),
        ("sqrt(16) + min(3, 2, 5) + max(1, 2)", 8),
        ("1.5e2", 150),
        ("1.2 * u_kv / sqrt(3)", 12 / math.sqrt(3)),
    ],
)
def test_value(text, expected):
    assert read_formula(text).value({"u_kv": 10.0}) == pytest.approx(expected, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "ends where a number or a name should follow"),
        ("1 +", "ends where"),
        ("(1", "lacks ')'"),
        ("1)", "has ')' where it should end"),
        ("1 2", "has '2' where it should end"),
        ("* 2", "has '*' where a number"),
        ("u.real", "cannot be read at character 2"),
        ("__import__('os')", "cannot be read at character 1"),
        ("a[0]", "cannot be read at character 2"),
        ("1 if 2 else 3", "has 'if' where it should end"),
        ("lambda", "uses lambda"),
        ("sqrt(1, 2)", "takes 1 to 1 values, not 2"),
        ("min(1)", "takes 2 to 8 values, not 1"),
        ("sqrt 4", "lacks '('"),
        ("5 // 2", "has '/' where a number"),
        ("ü", "cannot be read at character 1"),
        ("1" * 500, "has 500 characters and may have 400"),
        ("(" * 200, "nested deeper than 40"),
        ("-" * 200 + "1", "nested deeper than 40"),
        ("2**" * 100 + "2", "nested deeper than 40"),
    ],
)
def test_refused(text, message):
    with pytest.raises(FormulaError) as refused:
        read_formula(text).range({})
    assert message in str(refused.value)


@pytest.mark.parametrize(
    "text", ["(" * 50_000, "-" * 50_000, "9**" * 16_000, "a+" * 25_000, "\0" * 50_000, "1 " * 25_000]
)
def test_hostile_texts_are_refused_quickly(text):
    begun = time.perf_counter()
    with pytest.raises(FormulaError):
        read_formula(text)
    assert time.perf_counter() - begun < 0.1


def test_names_are_listed_once_and_sorted():
    assert read_formula("b_kv + a_kv * b_kv / a_kv").names == ("a_kv", "b_kv")


@pytest.mark.parametrize(
    ("text", "target"),
    [
        ("1.2 * highest_voltage_kv / sqrt(3)", "voltage_kv"),
        ("max(15, 120 * frequency_hz / source_hz)", "hold_s"),
        ("highest_voltage_kv ** 2 / rated_mvar", "reactance_ohm"),
        ("1 / (6.28 * frequency_hz * reactance_ohm)", "capacitance_uf"),
        ("reactance_ohm / (6.28 * frequency_hz)", "inductance_mh"),
        ("sqrt(reactance_ohm / other_ohm)", "tuned_order"),
        ("0.5 * charge_limit_pc", "background_noise_pc"),
        ("current_a * 60 * hold_s", "charge_pc"),
        ("60", "hold_s"),
    ],
)
def test_units_that_fit(text, target):
    assert read_formula(text).check_unit(target) is None


@pytest.mark.parametrize(
    ("text", "target"),
    [
        ("highest_voltage_kv", "hold_s"),
        ("highest_voltage_kv + hold_s", "voltage_kv"),
        ("min(highest_voltage_kv, hold_s)", "voltage_kv"),
        ("highest_voltage_kv ** 2", "voltage_kv"),
        ("highest_voltage_kv * tuned_order + tuned_order", "voltage_kv"),
        ("2 ** highest_voltage_kv", "tuned_order"),
        ("highest_voltage_kv ** tuned_order", "voltage_kv"),
        ("sqrt(highest_voltage_kv)", "voltage_kv"),
        ("tuned_order", "voltage_kv"),
    ],
)
def test_units_that_do_not_fit(text, target):
    with pytest.raises(FormulaError):
        read_formula(text).check_unit(target)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("1 / (tuned_order - 2)", "can divide by zero"),
        ("1 / altitude_m", "can divide by zero"),
        ("1 / (1 - 1)", "can divide by zero"),
        ("0 ** -1", "can divide by zero"),
        ("sqrt(altitude_m)", "root or a power of a negative"),
        ("altitude_m ** 0.5", "root or a power of a negative"),
        ("10 ** 400", "can leave the range of real numbers"),
        ("voltage_v", "uses voltage_v, which is no rating"),
    ],
)
def test_range_refuses(text, message):
    with pytest.raises(FormulaError) as refused:
        read_formula(text).range(DOMAIN)
    assert message in str(refused.value)


def test_range_holds_every_value():
    assert read_formula("1 / (tuned_order ** 2 - 1)").range(DOMAIN) == pytest.approx((1 / 9999, 1 / 0.1025))
    assert read_formula("min(10, altitude_m) - max(2, altitude_m)").range(DOMAIN) == (-6430, 8)


@pytest.mark.parametrize(
    ("text", "inputs", "message"),
    [
        ("a_kv", {}, "needs a_kv"),
        ("1 / a_kv", {"a_kv": 0}, "divides by zero"),
        ("sqrt(a_kv)", {"a_kv": -1}, "has no real value"),
        ("a_kv ** 0.5", {"a_kv": -1}, "has no real value"),
        ("a_kv ** 9", {"a_kv": 1e300}, "has no real value"),
        ("a_kv * 10", {"a_kv": 1e308}, "has no finite value"),
    ],
)
def test_value_refuses(text, inputs, message):
    with pytest.raises(FormulaError) as refused:
        read_formula(text).value(inputs)
    assert message in str(refused.value)
