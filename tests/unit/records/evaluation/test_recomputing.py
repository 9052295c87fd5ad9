"""Findings with an instrument's error taken out: each number by hand."""

from __future__ import annotations

import pytest

from equipment.metrology.accuracy import ErrorCurve
from equipment.metrology.corrections import CorrectionPoint, correction_curve
from records.evaluation.findings import Finding
from records.evaluation.quantities import QUANTITIES
from records.evaluation.recomputing import Known, WrongInstrument, dependences, part_of_the_way, recompute

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
    run = recompute([finding("apparent_charge_pc", charge, maximum=100)], [CHARGE], 1.0)
    assert (run.effect, run.verdict, run.before) == (effect, verdict, "conforms")
    assert run.findings[0].value == pytest.approx(charge * 1.2)


def test_a_unit_that_failed_because_the_instrument_read_too_much_flips_to_conform():
    high = WrongInstrument("charge", ErrorCurve("pC", (100.0,), (20.0,)))
    run = recompute([finding("apparent_charge_pc", 110, "does_not_conform", maximum=100)], [high], 1.0)
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
    run = recompute([finding("held_voltage_kv", 60.0, minimum=58.2, maximum=61.8, judges="test")], [volts], 1.0)
    assert run.findings[0].value == pytest.approx(60 - 60 / 50)
    ohms = WrongInstrument("impedance", ErrorCurve("Ω", (102.0,), (2.0,)))  # reads 2 % too much
    made = recompute([finding("inductance_mh", 10.2, unit="mH", minimum=9, maximum=11)], [ohms], 1.0)
    assert made.findings[0].value == pytest.approx(10.0)


def test_what_hangs_on_a_value_is_doubtful_only_with_it():
    held = finding("held_s", 61, judges="test", minimum=60, stage="withstand")
    for voltage, effect in ((60.0, "stands"), (58.5, "doubtful")):
        band = {"minimum": 58.2, "maximum": 61.8, "judges": "test", "stage": "withstand", "expanded_uncertainty": 0.3}
        small = WrongInstrument("voltage", ErrorCurve("kV", (50.0,), (0.01,)))
        run = recompute([finding("held_voltage_kv", voltage, **band), held], [small], 1.0)
        assert run.findings[1].effect == effect
        assert run.findings[1].verdict == "conforms"


def test_a_fault_of_the_test_covers_the_units_findings_before_and_after():
    masked = finding("apparent_charge_pc", 50, "not_valid", maximum=100)
    noise = finding("background_noise_pc", 60, "not_valid", maximum=50, judges="test")
    run = recompute([masked, noise], [CHARGE], 1.0)
    assert (run.before, run.verdict, run.effect) == ("not_valid", "not_valid", "stands")


def test_without_a_value_or_with_an_unknown_rule_nothing_is_claimed():
    run = recompute([finding("apparent_charge_pc", None, "inconclusive", maximum=100)], [CHARGE], 1.0)
    assert (run.findings[0].effect, run.findings[0].verdict) == ("untouched", "inconclusive")
    own = finding("apparent_charge_pc", 80, maximum=100, decision="customer_defined")
    assert recompute([own], [CHARGE], 1.0).findings[0].effect == "doubtful"
    assert "must be applied by hand" in recompute([own], [CHARGE], 1.0).findings[0].reason
    assert recompute([], [CHARGE], 1.0).effect == "untouched"


def test_an_instrument_touches_only_its_own_quantities():
    thermometer = WrongInstrument("temperature", ErrorCurve("°C", (20.0,), (5.0,)))
    assert recompute([finding("apparent_charge_pc", 99.9, maximum=100)], [thermometer], 1.0).effect == "untouched"
    assert set(dependences()) >= {"voltage", "charge", "impulse", "impedance", "resistance", "temperature"}


def test_a_customers_own_rule_is_applied_with_the_factor_of_the_plan():
    """U = 8 pC, r = 0.5: accepted to 96 pC, refused from 104 pC. A fifth more: 94.8 pC, 96.6 pC and 105.6 pC."""
    factors = {("apparent_charge_pc", "measurement"): 0.5}
    said = {"maximum": 100, "decision": "customer_defined", "expanded_uncertainty": 8.0, "stage": "measurement"}
    expected = {79.0: ("doubtful", "conforms"), 80.5: ("flips", "inconclusive"), 88.0: ("flips", "does_not_conform")}
    for charge, (effect, verdict) in expected.items():
        run = recompute([finding("apparent_charge_pc", charge, **said)], [CHARGE], 1.0, guard_factors=factors)
        assert (run.effect, run.verdict) == (effect, verdict)
    beside = finding("background_noise_pc", 10, maximum=50, judges="test", stage="measurement")
    assert recompute([beside], [CHARGE], 1.0, guard_factors={("background_noise_pc", "measurement"): 0.5}).effect == (
        "stands"
    )


BAND = {"minimum": 58.2, "maximum": 61.8, "judges": "test", "expanded_uncertainty": 0.3}
TWO_KV = WrongInstrument("voltage", ErrorCurve("kV", (50.0, 100.0), (2.0, 4.0)))  # of a reading, 4 % is error


def test_the_error_counts_against_the_correction_that_was_applied_then():
    """Read 60 kV, corrected by −1.2 kV to 58.8 kV. The error was 2.4 kV, of which 1.2 were known: 57.6 kV is true."""
    points = [CorrectionPoint(at, -0.02 * at, 0.1) for at in (50.0, 100.0)]
    known = Known({"kV": correction_curve(points)})
    run = recompute([finding("held_voltage_kv", 58.8, **BAND)], [TWO_KV], 1.0, known=known)
    assert run.findings[0].error == pytest.approx(1.2)
    assert run.findings[0].value == pytest.approx(57.6)
    assert run.effect == "flips"
    assert "less the error beyond what was known then, +1.2 kV is 57.6 kV" in run.findings[0].reason


def test_beyond_the_range_of_the_correction_the_whole_error_counts():
    known = Known({"kV": correction_curve([CorrectionPoint(at, -0.02 * at, 0.1) for at in (10.0, 20.0)])})
    run = recompute([finding("held_voltage_kv", 60.0, **BAND)], [TWO_KV], 1.0, known=known)
    assert run.findings[0].error == pytest.approx(2.4)


def test_through_a_system_the_error_counts_against_what_its_scale_factor_contains():
    """The component read 4 % too much when the factor was assigned, and still does: nothing changes."""
    known = Known({"kV": ErrorCurve("kV", (50.0, 100.0), (2.0, 4.0))})
    run = recompute([finding("held_voltage_kv", 60.0, **BAND)], [TWO_KV], 1.0, known=known)
    assert (run.effect, run.findings[0].error) == ("stands", pytest.approx(0.0, abs=1e-9))


def test_points_in_several_units_are_all_taken():
    """A meter that reads volts 2 % and ohms 5 % too much; each finding by its own points."""
    meter = [
        WrongInstrument("voltage", ErrorCurve("kV", (50.0,), (1.0,))),
        WrongInstrument("resistance", ErrorCurve("kΩ", (105.0,), (5.0,))),
    ]
    voltage = finding("held_voltage_kv", 60.0, **BAND)
    ohms = finding("resistance_ohm", 105.0, "does_not_conform", unit="Ω", maximum=102.0)
    insulation = finding("insulation_resistance_mohm", 210.0, unit="MΩ", minimum=205.0)
    run = recompute([voltage, ohms, insulation], meter, 1.0)
    assert [row.value for row in run.findings] == pytest.approx([58.8, 100.0, 200.0])
    assert [row.effect for row in run.findings] == ["stands", "flips", "flips"]


def test_of_points_that_do_not_convert_the_worst_counts():
    bridge = [
        WrongInstrument("impedance", ErrorCurve("Ω", (101.0,), (1.0,))),
        WrongInstrument("impedance", ErrorCurve("S", (1.1,), (0.1,))),
    ]
    row = recompute([finding("inductance_mh", 11.0, unit="mH", minimum=9, maximum=12)], bridge, 1.0).findings[0]
    assert row.value == pytest.approx(10.0)


def test_what_hangs_on_a_reading_that_no_limit_judges_is_doubtful():
    """A thermometer's reading is no finding at all, so only the record can tell what it does."""
    thermometer = WrongInstrument("temperature", ErrorCurve("°C", (20.0,), (5.0,)))
    run = recompute([finding("resistance_at_reference_ohm", 10.0, unit="Ω", maximum=10.2)], [thermometer], 1.0)
    assert run.effect == "doubtful"
    assert "hangs on a reading that no limit judges" in run.findings[0].reason


def test_a_value_that_is_only_told_is_corrected_and_stands():
    row = recompute([finding("extinction_voltage_kv", 20.8)], [TWO_KV], 1.0).findings[0]
    assert (row.effect, row.value) == ("stands", pytest.approx(20.8 - 0.04 * 20.8))
    assert "no limit judges it" in row.reason


def test_an_impulse_hangs_on_its_divider():
    run = recompute([finding("test_voltage_kv", 125.0, minimum=121.25, maximum=128.75, judges="test")], [TWO_KV], 1.0)
    assert (run.verdict, run.findings[0].value) == ("not_valid", pytest.approx(120.0))
