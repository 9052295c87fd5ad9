"""Laws of the arithmetic: tuning goes there and back, tolerances bracket it, reference air changes nothing."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedules.rules import atmosphere, bay, nameplate

VOLTAGES = st.floats(min_value=0.1, max_value=72.5)
OUTPUTS = st.floats(min_value=1e-3, max_value=500)
ORDERS = st.floats(min_value=1.1, max_value=50)
HERTZ = st.sampled_from([16.7, 50.0, 60.0])
KINDS = st.sampled_from(["alternating", "impulse", "direct"])


@settings(deadline=None)
@given(voltage=VOLTAGES, mvar=OUTPUTS, order=ORDERS, hertz=HERTZ)
def test_a_branch_tunes_to_the_order_that_was_asked(voltage, mvar, order, hertz):
    branch = nameplate.tuned_branch(voltage, mvar, order, hertz)
    assert nameplate.tuned_order(branch.inductance_mh, branch.capacitance_uf, hertz) == pytest.approx(order)
    assert branch.capacitor_kv - branch.reactor_kv == pytest.approx(voltage)
    assert branch.effective_mvar > mvar


@settings(deadline=None)
@given(order=ORDERS, more=st.floats(min_value=1.01, max_value=3))
def test_a_higher_order_drops_less_voltage_on_the_reactor(order, more):
    assert nameplate.voltage_rise(order * more) < nameplate.voltage_rise(order)


@settings(deadline=None)
@given(
    order=ORDERS,
    capacitance=st.tuples(st.floats(-20, 0), st.floats(0, 20)),
    inductance=st.tuples(st.floats(-20, 0), st.floats(0, 20)),
    part=st.tuples(st.floats(0, 1), st.floats(0, 1)),
)
def test_tolerances_bracket_every_tuning(order, capacitance, inductance, part):
    low, high = nameplate.order_range(order, capacitance, inductance)
    inside = [
        ends[0] + share * (ends[1] - ends[0]) for ends, share in zip((capacitance, inductance), part, strict=True)
    ]
    assert low * (1 - 1e-12) <= nameplate.drifted_order(order, *inside) <= high * (1 + 1e-12)
    assert low <= order * (1 + 1e-12)
    assert high >= order * (1 - 1e-12)


@settings(deadline=None)
@given(kind=KINDS, level=st.floats(1, 300), path=st.floats(0.05, 3))
def test_the_reference_atmosphere_changes_nothing(kind, level, path):
    found = atmosphere.correction(
        level, kind=kind, pressure_kpa=101.3, temperature_c=20, humidity_g_per_m3=11, path_m=path
    )
    assert (found.factor, found.set_point_kv, found.warnings) == (1, level, ())


@settings(deadline=None)
@given(
    kind=KINDS,
    level=st.floats(1, 300),
    path=st.floats(0.05, 3),
    pressure=st.floats(85, 105),
    temperature=st.floats(0, 45),
    humidity=st.floats(0, 30),
)
def test_a_factor_is_the_product_of_its_parts_or_out_of_range_is_said(
    kind, level, path, pressure, temperature, humidity
):
    found = atmosphere.correction(
        level, kind=kind, pressure_kpa=pressure, temperature_c=temperature, humidity_g_per_m3=humidity, path_m=path
    )
    assert found.factor == pytest.approx(found.density_factor * found.humidity_factor)
    # The widest that these ranges allow: 0.773 (85 kPa, 45 °C) x 0.82 (dry air, direct), and 1.112 x 1.34.
    assert 0.63 < found.factor < 1.5
    highest = 20 if kind == "impulse" else 15
    outside = not 1 < humidity / found.density < highest
    assert any("h/δ" in one for one in found.warnings) is outside


@settings(deadline=None)
@given(altitude=st.floats(0, 6000), exponent=st.floats(0, 1))
def test_the_sea_level_reference_is_never_below_the_other(altitude, exponent):
    high = atmosphere.altitude_factor(altitude, "sea_level", exponent)
    assert high >= atmosphere.altitude_factor(altitude, "1000_m", exponent) >= 1


@settings(deadline=None)
@given(
    voltage=VOLTAGES,
    capacitance=st.just(0.0) | st.floats(1e-6, 1e5),  # not the smallest of floats, which no division makes smaller
    hertz=HERTZ,
    spare=st.floats(1.0001, 3),
)
def test_a_bay_with_power_to_spare_suffices_and_one_without_is_told(voltage, capacitance, hertz, spare):
    demand = bay.Demand(voltage_kv=voltage, capacitance_nf=capacitance, frequency_hz=hertz)
    power = bay.charging_power_kva(voltage, capacitance, hertz)
    assert bay.shortcomings(bay.Bay(source_kv=voltage, source_kva=power * spare), demand) == ()
    short = bay.shortcomings(bay.Bay(source_kv=voltage, source_kva=power / spare), demand)
    assert len(short) == (1 if power > 0 else 0)
