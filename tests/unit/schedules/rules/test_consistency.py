"""Ratings that contradict each other are refused with what would fit; what is only doubtful is warned of."""

from __future__ import annotations

import pytest

from schedules.rules import BadRatings, derive_plan
from schedules.rules.consistency import doubts, refuse_contradictions

FILTER = {"equipment": "tuned_filter", "frequency_hz": 60.0, "phases": 3, "capacitance_uf": 50.0, "tuned_order": 4.7}
UNIT = {"equipment": "capacitor_unit", "frequency_hz": 60.0, "phases": 1, "rated_voltage_kv": 7.2, "rated_mvar": 0.2}
SHUNT = {"equipment": "shunt_reactor", "frequency_hz": 60.0, "phases": 3, "rated_voltage_kv": 13.8, "rated_mvar": 5.0}


def refusal(ratings):
    with pytest.raises(BadRatings) as refused:
        refuse_contradictions(ratings)
    return str(refused.value)


def test_tuned_order_that_does_not_fit():
    """1/(2π·60·√(5e-3·50e-6)) = 5.305; 5 mH·(5.30516/4.7)² = 6.3705 mH would fit."""
    assert refusal(FILTER | {"inductance_mh": 5.0}) == (
        "tuned_order: is 4.7, but 5 mH and 50 µF tune to 5.305 at 60 Hz, 12.9 % away; "
        "correct one of the three (6.37 mH would fit)"
    )
    refuse_contradictions(FILTER | {"inductance_mh": 6.371})
    refuse_contradictions(FILTER | {"inductance_mh": 5.0, "tuning_tolerance_pct": 15.0})


def test_output_that_a_capacitor_does_not_give():
    """0.2 Mvar at 7.2 kV, 60 Hz is 10.23 µF; 15 µF would be 0.2·15/10.23373 = 0.29315 Mvar."""
    assert refusal(UNIT | {"capacitance_uf": 15.0}) == (
        "rated_mvar: is 0.2 Mvar, but the other ratings give 0.2931 Mvar at 7.2 kV and 60 Hz; "
        "correct one of them (10.23 µF would fit)"
    )
    refuse_contradictions(UNIT | {"capacitance_uf": 11.2})


def test_output_that_a_shunt_reactor_does_not_give():
    """13.8²/5 = 38.09 Ω, at 60 Hz 101.0 mH."""
    assert refusal(SHUNT | {"inductance_mh": 60.0}).endswith("correct one of them (101 mH would fit)")
    refuse_contradictions(SHUNT | {"inductance_mh": 101.0})
    refuse_contradictions(SHUNT | {"inductance_mh": 60.0, "phases": 1})


def test_a_filters_output_is_that_of_the_capacitors_or_of_the_branch():
    """50 µF at 13.8 kV, 60 Hz: 3.590 Mvar, with the reactor · 4.7²/(4.7² − 1) = 3.760 Mvar."""
    plate = FILTER | {"rated_voltage_kv": 13.8}
    assert doubts(plate | {"rated_mvar": 3.6}) == doubts(plate | {"rated_mvar": 3.76}) == doubts(plate) == ()
    assert doubts(plate | {"rated_mvar": 6.0}) == (
        "6 Mvar is stated; 50 µF at 13.8 kV give 3.59 Mvar, with the reactor 3.76 Mvar. "
        "Check at which voltage the output is stated.",
    )


def test_plans_are_refused_too():
    ratings = {"equipment": "series_reactor", "highest_voltage_kv": 15.5, "inductance_mh": 5, "capacitance_uf": 50}
    with pytest.raises(BadRatings, match=r"^tuned_order: is 4\.7, but "):
        derive_plan(ratings | {"tuned_order": 4.7})


LEVELS = {"frequency_hz": 60.0, "phases": 3, "power_frequency_kv": 50.0, "lightning_impulse_kv": 110.0}


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (
            {"power_frequency_kv": 110.0},
            "power_frequency_kv: is 110 kV, not below the lightning impulse level of 110 kV; correct one of the two",
        ),
        (
            {"discharge_test_voltage_kv": 51.0},
            "discharge_test_voltage_kv: is 51 kV, above the 50 kV that the insulation has to withstand for a minute; ",
        ),
        ({"discharge_path_m": 0.02}, "discharge_path_m: is 0.02 m, over which no air holds 50 kV; give the shortest"),
    ],
)
def test_levels_that_cannot_stand_beside_each_other(more, message):
    """50 kV · √2 over 0.02 m are 3.5 kV/mm; air holds about 3 kV/mm (from memory)."""
    assert refusal(LEVELS | more).startswith(message)
    refuse_contradictions(LEVELS | {"discharge_test_voltage_kv": 50.0, "discharge_path_m": 0.024})


def test_a_filters_output_that_no_voltage_explains():
    """50 µF at 13.8 kV, 60 Hz, order 4.7 give 3.760 Mvar; 2.5 times that are 9.40, a 2.5th is 1.50."""
    plate = FILTER | {"rated_voltage_kv": 13.8}
    assert refusal(plate | {"rated_mvar": 37.6}) == (
        "rated_mvar: is 37.6 Mvar, but 50 µF tuned to 4.7 give 3.76 Mvar at 13.8 kV and 60 Hz; "
        "correct one of them (500 µF would fit)"
    )
    assert refusal(plate | {"rated_mvar": 1.4}).startswith("rated_mvar: is 1.4 Mvar, but ")
    refuse_contradictions(plate | {"rated_mvar": 9.3})


@pytest.mark.parametrize("rated_mvar", [0.1131, 0.0377])
def test_output_that_a_series_reactor_does_not_give(rated_mvar):
    """1 mH at 60 Hz is 0.377 Ω; 316.23 A make 37.7 kvar in one phase, 113.1 in three."""
    plate = {"equipment": "series_reactor", "frequency_hz": 60.0, "inductance_mh": 1.0, "rated_current_a": 316.23}
    refuse_contradictions(plate | {"rated_mvar": rated_mvar})
    assert refusal(plate | {"rated_mvar": 1.0}).startswith(
        "rated_mvar: is 1 Mvar, but 1 mH at 316.23 A and 60 Hz give 0.1131 Mvar in three phases; "
    )


def test_a_source_slower_than_the_network_is_warned_of():
    dry = {"equipment": "dry_type_transformer", "frequency_hz": 50.0}
    assert doubts(dry | {"source_frequency_hz": 50.0}) == ()
    (told,) = doubts(dry | {"source_frequency_hz": 40.0})
    assert told.startswith("The source of the induced test runs at 40 Hz, below the rated 50 Hz")


def test_a_filters_reactor_follows_from_its_capacitance_where_that_is_stated():
    """50 µF and order 4.7 at 60 Hz take 6.3705 mH, whatever the output says of another voltage."""
    plate = {"equipment": "tuned_filter", "highest_voltage_kv": 15.5, "rated_voltage_kv": 13.8, "rated_mvar": 6}
    plate |= {"tuned_order": 4.7, "capacitance_uf": 50, "frequency_hz": 60, "inductance_tolerance_pct": 3}
    plan = derive_plan(plate | {"capacitance_tolerance_pct": 5, "tuning_tolerance_pct": 2})
    assert plan.ratings["inductance_mh"] == pytest.approx(6.3705, abs=5e-5)
    assert any(one.startswith("6 Mvar is stated; ") for one in plan.warnings)
