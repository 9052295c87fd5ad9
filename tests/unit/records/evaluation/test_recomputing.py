"""Findings with an instrument's error taken out: each number by hand."""

from __future__ import annotations

import pytest

from equipment.metrology.accuracy import ErrorCurve
from records.evaluation.findings import Finding
from records.evaluation.quantities import QUANTITIES
from records.evaluation.recomputing import WrongInstrument, dependences, part_of_the_way, recompute

CHARGE = WrongInstrument("charge", ErrorCurve("pC", (100.0,), (-20.0,)))  # reads 100 for 120: a fifth too little


def finding(quantity: str, value: float | None, verdict: str = "conforms", **said) -> Finding:
    limits = {"minimum": said.pop("minimum", None), "maximum": said.pop("maximum", None)}
    kept = {"stage": None, "expanded_uncertainty": 1.0, "decision": "simple_acceptance", "judges": "unit", **said}
    known = QUANTITIES.get(quantity)
    unit = kept.pop("unit", known.unit if known else "")
    return Finding(
        quantity=quantity, unit=unit, value=value, coverage_factor=2.0, probability_of_conformity=None,
        verdict=verdict, reason="", **limits, **kept,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("charge", "effect", "verdict"),
    [(80.0, "stands", "conforms"), (82.9, "doubtful", "conforms"), (84.0, "flips", "does_not_conform")],
)
def test_charge_read_too_low_by_a_fifth_of_the_reading(charge, effect, verdict):
    """80 pC were 96 pC, 82.9 pC were 99.48 pC (within U = 1 pC of the limit), 84 pC were 100.8 pC."""
    run = recompute([finding("apparent_charge_pc", charge, maximum=100)], CHARGE, 1.0)
    assert (run.effect, run.verdict, run.before) == (effect, verdict, "conforms")
    assert run.findings[0].value == pytest.approx(charge * 1.2)


def test_a_unit_that_failed_because_the_instrument_read_too_much_flips_to_conform():
    high = WrongInstrument("charge", ErrorCurve("pC", (100.0,), (20.0,)))
    run = recompute([finding("apparent_charge_pc", 110, "does_not_conform", maximum=100)], high, 1.0)
    assert (run.before, run.verdict, run.effect) == ("does_not_conform", "conforms", "flips")
    assert run.findings[0].value == pytest.approx(88)


def test_half_the_way_has_half_of_the_growth():
    grown = WrongInstrument("voltage", ErrorCurve("kV", (50.0,), (2.0,)), left=ErrorCurve("kV", (50.0,), (-1.0,)))
    assert grown.error_at(50.0, 0.0) == pytest.approx(-1.0)
    assert grown.error_at(50.0, 0.5) == pytest.approx(0.5)
    assert grown.error_at(50.0, 1.0) == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("good", "found", "run", "part"), [(0, 100, 0, 0.0), (0, 100, 25, 0.25), (0, 100, 120, 1.0), (None, 100, 3, 1.0)]
)
def test_the_part_of_the_way(good, found, run, part):
    assert part_of_the_way(good_ordinal=good, found_ordinal=found, run_ordinal=run) == part


def test_units_of_calibration_and_finding_may_differ():
    volts = WrongInstrument("voltage", ErrorCurve("V", (50_000.0,), (1_000.0,)))
    run = recompute([finding("held_voltage_kv", 60.0, minimum=58.2, maximum=61.8, judges="test")], volts, 1.0)
    assert run.findings[0].value == pytest.approx(60 - 60 / 50)
    ohms = WrongInstrument("impedance", ErrorCurve("Ω", (102.0,), (2.0,)))  # reads 2 % too much
    made = recompute([finding("inductance_mh", 10.2, unit="mH", minimum=9, maximum=11)], ohms, 1.0)
    assert made.findings[0].value == pytest.approx(10.0)


def test_what_hangs_on_a_value_is_doubtful_only_with_it():
    held = finding("held_s", 61, judges="test", minimum=60, stage="withstand")
    for voltage, effect in ((60.0, "stands"), (58.5, "doubtful")):
        band = {"minimum": 58.2, "maximum": 61.8, "judges": "test", "stage": "withstand", "expanded_uncertainty": 0.3}
        small = WrongInstrument("voltage", ErrorCurve("kV", (50.0,), (0.01,)))
        run = recompute([finding("held_voltage_kv", voltage, **band), held], small, 1.0)
        assert run.findings[1].effect == effect
        assert run.findings[1].verdict == "conforms"


def test_a_fault_of_the_test_covers_the_units_findings_before_and_after():
    masked = finding("apparent_charge_pc", 50, "not_valid", maximum=100)
    noise = finding("background_noise_pc", 60, "not_valid", maximum=50, judges="test")
    run = recompute([masked, noise], CHARGE, 1.0)
    assert (run.before, run.verdict, run.effect) == ("not_valid", "not_valid", "stands")


def test_without_a_value_or_with_an_unknown_rule_nothing_is_claimed():
    run = recompute([finding("apparent_charge_pc", None, "inconclusive", maximum=100)], CHARGE, 1.0)
    assert (run.findings[0].effect, run.findings[0].verdict) == ("untouched", "inconclusive")
    own = finding("apparent_charge_pc", 80, maximum=100, decision="customer_defined")
    assert recompute([own], CHARGE, 1.0).findings[0].effect == "doubtful"
    assert recompute([], CHARGE, 1.0).effect == "untouched"


def test_an_instrument_touches_only_its_own_quantities():
    thermometer = WrongInstrument("temperature", ErrorCurve("°C", (20.0,), (5.0,)))
    assert recompute([finding("apparent_charge_pc", 99.9, maximum=100)], thermometer, 1.0).effect == "untouched"
    assert set(dependences()) >= {"voltage", "charge", "impulse", "impedance", "resistance", "temperature"}
