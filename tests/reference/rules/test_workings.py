"""What follows from a nameplate: published examples, closed forms, and the trade's own observation."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.rules import derive_plan
from schedules.rules.workings import completed, workings

FILTER = {"equipment": "tuned_filter", "rated_voltage_kv": 0.48, "rated_mvar": 0.05, "tuned_order": 5.0}
TOLERANCES = {"tuning_tolerance_pct": 2, "inductance_tolerance_pct": 2, "capacitance_tolerance_pct": 5}


def figures(ratings):
    return {one.name: one.value for one in workings(ratings)}


def test_published_filter_of_480_v():
    """A published harmonic-filter page, to its last printed digit: 4.608 Ω, 0.1843 Ω, 0.4889 mH, 575.7 µF, 300 Hz."""
    found = figures(FILTER | {"frequency_hz": 60.0})
    assert found["capacitive_reactance_ohm"] == pytest.approx(4.608, abs=5e-4)
    assert found["inductive_reactance_ohm"] == pytest.approx(0.1843, abs=5e-5)
    assert found["inductance_mh"] == pytest.approx(0.4889, abs=5e-5)
    assert found["capacitance_uf"] == pytest.approx(575.65, abs=0.05)
    assert found["tuned_frequency_hz"] == pytest.approx(300)
    assert found["effective_mvar"] * 1e3 == pytest.approx(52.08, abs=5e-3)


def test_published_detuned_bank_of_8_percent():
    """A published study of detuned reactors: 434.783 V at 400 V and 8 %; h = 3.5355 is 1/√0.08."""
    plate = {"equipment": "tuned_filter", "rated_voltage_kv": 0.4, "detuning_pct": 8.0, "frequency_hz": 50.0}
    found = figures(plate)
    assert found["capacitor_working_kv"] * 1e3 == pytest.approx(434.783, abs=5e-4)
    assert found["tuned_order"] == pytest.approx(3.5355, abs=5e-5)


def test_capacitors_rated_above_the_network():
    """Textbook, from memory: 600 V, 800 kvar cans on 480 V, order 4.7: 645.0 A, 502.8 V, 536 kvar."""
    plate = FILTER | {"rated_mvar": 0.8, "capacitor_voltage_kv": 0.6, "tuned_order": 4.7, "frequency_hz": 60.0}
    found = figures(plate)
    assert found["working_current_a"] == pytest.approx(645.0, abs=0.05)
    assert found["capacitor_working_kv"] * 1e3 == pytest.approx(502.8, abs=0.05)
    assert found["effective_mvar"] * 1e3 == pytest.approx(536, abs=0.5)


@given(low=st.floats(1.5, 20), step=st.floats(0.1, 10))
def test_a_higher_tuned_reactor_drops_less_voltage_and_is_smaller(low, step):
    """The trade's observation, which follows from U/(h² − 1) and XL = Xc/h²."""
    plate = FILTER | {"frequency_hz": 60.0}
    lower, higher = (figures(plate | {"tuned_order": order}) for order in (low, low + step))
    assert higher["reactor_working_kv"] < lower["reactor_working_kv"]
    assert higher["inductance_mh"] < lower["inductance_mh"]


@given(order=st.floats(1.2, 30), capacitance=st.floats(0.1, 20), inductance=st.floats(0.1, 20))
def test_tolerances_open_a_range_around_the_tuned_order(order, capacitance, inductance):
    plate = FILTER | {"tuned_order": order, "frequency_hz": 50.0}
    found = figures(plate | {"capacitance_tolerance_pct": capacitance, "inductance_tolerance_pct": inductance})
    assert found["lowest_order"] < order < found["highest_order"]
    spread = (1 + capacitance / 100) * (1 + inductance / 100)
    assert found["lowest_order"] == pytest.approx(order / math.sqrt(spread), rel=1e-8)


def test_a_plan_is_made_from_what_follows():
    plan = derive_plan(FILTER | TOLERANCES | {"frequency_hz": 60})
    limits = {one.quantity: one.nominal for step in plan.steps for one in step.procedure.criteria if one.nominal}
    assert limits == {
        "capacitance_uf": pytest.approx(575.65, abs=0.05),
        "inductance_mh": pytest.approx(0.4889, abs=5e-5),
        "tuned_order": 5,
    }
    shown = plan.as_dict()
    assert {"name": "capacitance_uf", "value": 575.647, "because": "worked out from the other ratings"} in shown[
        "filled_in"
    ]
    assert all(one["formula"] and one["inputs"] for one in shown["workings"])


def test_nothing_is_worked_out_of_an_order_that_tunes_nothing():
    assert "effective_mvar" not in figures(FILTER | {"tuned_order": 1.0, "frequency_hz": 60.0})
    assert completed({"equipment": "series_reactor", "detuning_pct": 7.0, "frequency_hz": 50.0}) == {}


def test_branches_are_worked_out_one_by_one():
    bank = {"equipment": "tuned_filter", "frequency_hz": 60.0, "branches": ({"tuned_order": 5.0}, {"tuned_order": 7.0})}
    assert figures(bank) == {"branch_1.tuned_frequency_hz": 300, "branch_2.tuned_frequency_hz": 420}
