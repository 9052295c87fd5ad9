"""What a bay must be able to do: closed forms, and a sentence for each shortcoming."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from schedules.rules import bay, derive_plan


def test_charging_current_and_power():
    """Arithmetic: 2 nF at 50 kV, 60 Hz: 2π·60·2e-9·50e3 = 37.7 mA; times 50 kV 1.885 kVA."""
    assert bay.charging_current_ma(50, 2, 60) == pytest.approx(2 * math.pi * 60 * 2e-9 * 50e3 * 1e3)
    assert bay.charging_current_ma(50, 2, 60) == pytest.approx(37.7, abs=0.05)
    assert bay.charging_power_kva(50, 2, 60) == pytest.approx(1.885, abs=5e-4)


def test_impulse_energy():
    """Arithmetic: ½·10e-9·(200e3)² = 200 J."""
    assert bay.impulse_energy_kj(200, 10) == pytest.approx(0.5 * 10e-9 * 200e3**2 / 1e3)


FITTING = bay.Bay(source_kv=50, source_kva=1.886, generator_kv=110, generator_kj=0.0122, discharge_pc=5)
DEMAND = bay.Demand(voltage_kv=50, frequency_hz=60, capacitance_nf=2, impulse_kv=110, charge_limit_pc=10)


def test_a_bay_that_just_suffices():
    """1.885 kVA of 1.886; ½·2e-9·(110e3)² = 12.1 J of 12.2; 5 pC is half of 10."""
    assert bay.shortcomings(FITTING, DEMAND) == ()


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"source_kv": 49.9}, "The source gives 49.9 kV; the step needs 50 kV."),
        ({"source_kva": 1.88}, "The source gives 1.88 kVA; the step needs 1.885 kVA."),
        ({"generator_kv": 100}, "The impulse generator charges to 100 kV; the step needs 110 kV."),
        ({"generator_kj": 0.012}, "The impulse generator stores 0.012 kJ; the step needs 0.0121 kJ."),
        ({"discharge_pc": 5.1}, "The residual discharge level is 5.1 pC; it may be 5 pC, half the limit."),
        ({"source_kv": None}, "What the source gives in kV is not known; the step needs 50 kV."),
        ({"discharge_pc": None}, "The residual discharge level is not known; it may be 5 pC, half the limit."),
    ],
)
def test_each_shortcoming_is_told(change, reason):
    has = {name: getattr(FITTING, name) for name in FITTING.__slots__} | change
    assert bay.shortcomings(bay.Bay(**has), DEMAND) == (reason,)


def test_what_a_step_does_not_ask_for_is_not_missed():
    assert bay.shortcomings(bay.Bay(), bay.Demand()) == ()
    assert len(bay.shortcomings(bay.Bay(), DEMAND)) == 5


@pytest.mark.parametrize(
    "call",
    [
        lambda: bay.charging_current_ma(-1, 2, 60),
        lambda: bay.charging_current_ma(1, math.nan, 60),
        lambda: bay.charging_current_ma(1, 2, 0),
        lambda: bay.impulse_energy_kj(math.inf, 1),
        lambda: bay.charging_time_s(-1, 2, 3),
        lambda: bay.charging_time_s(1, 2, 0),
    ],
)
def test_impossible_values_are_refused(call):
    with pytest.raises(ValueError, match="give a number"):
        call()


def test_demand_of_the_steps_of_a_reactor():
    """50 kV withstand, 110 kV impulse, 100 pC; closed form for 2 nF at 60 Hz: 1.885 kVA."""
    ratings = {
        "equipment": "series_reactor",
        "highest_voltage_kv": 15.5,
        "lightning_impulse_kv": 110,
        "tests": ["routine", "type"],
    }
    impulse, withstand, discharge = (bay.demand_of(step, 2.0) for step in derive_plan(ratings).steps)
    assert impulse == bay.Demand(None, 60, 2.0, 110, None)
    assert withstand == bay.Demand(50, 60, 2.0, None, None)
    assert discharge == bay.Demand(25, 60, 2.0, None, 100)
    assert bay.shortcomings(bay.Bay(source_kv=60, source_kva=1.8), withstand) == (
        "The source gives 1.8 kVA; the step needs 1.885 kVA.",
    )


UNIT = {
    "equipment": "capacitor_unit",
    "highest_voltage_kv": 15.5,
    "rated_voltage_kv": 7.2,
    "rated_mvar": 0.2,
    "terminal_to_case_kv": 34,
    "dissipation_factor_limit": 0.001,
}


def test_direct_voltage_is_the_way_out_for_a_capacitor_unit():
    """2 · 7.2 kV on the unit's own capacitance: four times its output, 800 kvar; direct voltage asks for none."""
    capacitance_nf = 0.2e6 / (2 * math.pi * 60 * 7200**2) * 1e9
    alternating = derive_plan(UNIT).steps[1]
    direct = derive_plan(UNIT | {"terminal_test": "direct"}).steps[1]
    small = bay.Bay(source_kv=50, source_kva=20)
    assert bay.shortcomings(small, bay.demand_of(alternating, capacitance_nf)) == (
        "The source gives 20 kVA; the step needs 800 kVA.",
    )
    assert direct.procedure.frequency_hz is None
    level_kv = direct.procedure.stages[0].set_point_kv
    assert bay.shortcomings(small, bay.demand_of(direct, capacitance_nf)) == (
        f"There is no direct-voltage source; the step needs {level_kv:.4g} kV.",
    )
    with_source = [replace(small, direct_kv=kv, direct_ma=5) for kv in (level_kv, level_kv - 1)]
    assert [bay.shortcomings(one, bay.demand_of(direct, capacitance_nf)) for one in with_source] == [
        (),
        (f"The direct-voltage source gives {level_kv - 1:.4g} kV; the step needs {level_kv:.4g} kV.",),
    ]


def test_charging_by_a_constant_current():
    """Algebra, t = C·U/I: 10 µF to 30 kV by 10 mA in 30 s."""
    assert bay.charging_time_s(30, 10_000, 10) == pytest.approx(30)


def test_an_insulation_tester_brings_its_own_direct_voltage():
    """IEEE 43-2013, from memory: 10 kV at 13.8 kV."""
    dry = {"equipment": "dry_type_transformer", "highest_voltage_kv": 17.5, "rated_voltage_kv": 13.8}
    dry |= {"tests": ["routine", "special"]}
    (step,) = [one for one in derive_plan(dry).steps if one.kind == "insulation_resistance"]
    demand = bay.demand_of(step)
    assert (demand.direct_kv, demand.voltage_kv) == (10, None)
    assert bay.shortcomings(bay.Bay(source_kv=100), demand) == (
        "There is no direct-voltage source; the step needs 10 kV. An insulation tester that gives it will do.",
    )
    assert bay.shortcomings(bay.Bay(direct_kv=10, direct_ma=1), demand) == ()


def test_a_step_without_stages_asks_for_nothing():
    step = derive_plan(UNIT).steps[0]
    assert bay.shortcomings(bay.Bay(), bay.demand_of(step, 100.0)) == ()


@pytest.mark.parametrize(
    ("has_hz", "needs_hz", "reasons"),
    [
        (50, 60, ()),
        (50, 100, ("The source runs at 50 Hz; the step needs 100 Hz.",)),
        (100, 100, ()),
        (100, 60, ("The source runs at 100 Hz; the step needs 60 Hz.",)),
        (None, 100, ()),
        (50, None, ()),
    ],
)
def test_a_source_of_another_frequency(has_hz, needs_hz, reasons):
    """IEC 60060-1:2010 clause 6, from memory: 45 to 65 Hz stand for each other."""
    capable = bay.Bay(source_kv=100, source_kva=50, frequency_hz=has_hz)
    assert bay.shortcomings(capable, bay.Demand(voltage_kv=50, frequency_hz=needs_hz)) == reasons
