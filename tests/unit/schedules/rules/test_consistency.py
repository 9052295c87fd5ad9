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
