"""Correction for the air and altitude factors against arithmetic done independently; sources in SOURCE.md."""

from __future__ import annotations

import math

import pytest

from schedules.rules import atmosphere

AIR = {"kind": "alternating", "pressure_kpa": 101.3, "temperature_c": 20.0, "humidity_g_per_m3": 11.0, "path_m": 0.2}


def test_identity_at_the_reference_atmosphere():
    """Case A: t 20 °C, 101.3 kPa, 11 g/m³, U50 55 kV, L 0.20 m: g 0.55, m = w = 0.55·0.35/0.8, Kt 1."""
    found = atmosphere.correction(50.0, **AIR)
    assert (found.density, found.humidity_parameter, found.factor, found.set_point_kv) == (1, 1, 1, 50)
    assert found.exponent_parameter == pytest.approx(0.55)
    assert found.density_exponent == found.humidity_exponent == pytest.approx(0.55 * 0.35 / 0.8)
    assert found.warnings == ()


def test_case_b():
    """Case B, worked by hand: t 25 °C, 98.6 kPa, 12 g/m³, U50 55 kV, L 0.22 m: Kt 0.99487, 50 kV becomes 49.74 kV."""
    found = atmosphere.correction(
        50.0, kind="alternating", pressure_kpa=98.6, temperature_c=25, humidity_g_per_m3=12, path_m=0.22, u50_kv=55
    )
    expected = {
        "density": 0.95702,
        "humidity_parameter": 1.01847,
        "exponent_parameter": 0.51298,
        "density_exponent": 0.20069,
        "humidity_exponent": 0.20069,
        "density_factor": 0.99122,
        "humidity_factor": 1.00368,
        "factor": 0.99487,
    }
    assert {name: getattr(found, name) for name in expected} == pytest.approx(expected, abs=6e-6)
    assert found.set_point_kv == pytest.approx(49.74, abs=0.005)
    assert found.warnings == ()


def test_case_e_of_a_small_g_out_of_range():
    """Case E: t 30 °C, 95.0 kPa, 18 g/m³, U50 10 kV: g 0.09062 gives Kt 1, and h/δ 19.85 warns."""
    found = atmosphere.correction(
        10.0, kind="alternating", pressure_kpa=95, temperature_c=30, humidity_g_per_m3=18, path_m=0.22, u50_kv=10
    )
    assert found.density == pytest.approx(0.90686, abs=6e-6)
    assert found.humidity_parameter == pytest.approx(1.10619, abs=6e-6)
    assert found.exponent_parameter == pytest.approx(0.09062, abs=6e-6)
    assert (found.density_exponent, found.humidity_exponent, found.factor) == (0, 0, 1)
    assert found.warnings == (
        "h/δ is 19.85 g/m³; for alternating voltage the formula is known to hold above 1 and below 15.",
    )


@pytest.mark.parametrize(
    ("temperature_c", "relative_pct", "humidity"), [(20, 64, 11.027), (25, 60, 13.767), (20, 100, 17.229), (20, 0, 0)]
)
def test_absolute_humidity(temperature_c, relative_pct, humidity):
    """Worked by hand from the formula."""
    assert atmosphere.absolute_humidity_g_per_m3(temperature_c, relative_pct) == pytest.approx(humidity, abs=5e-4)


@pytest.mark.parametrize(
    ("g", "m", "w"),
    [
        (0.0, 0, 0),
        (0.1999, 0, 0),
        (0.2, 0, 0),
        (0.6, 0.3, 0.3),
        (1.0, 1, 1),
        (1.2, 1, 1),
        (1.6, 1, 0.3),
        (2.0, 1, 0),
        (2.1, 1, 0),
        (5.0, 1, 0),
    ],
)
def test_exponents(g, m, w):
    """Table of m and w: 0.6·0.4/0.8 = 0.3 and 0.6·0.4/0.8 = 0.3; it has no jump anywhere."""
    assert atmosphere.exponents(g) == (pytest.approx(m, abs=1e-9), pytest.approx(w, abs=1e-9))


@pytest.mark.parametrize(
    ("kind", "ratio", "parameter", "warns"),
    [
        ("alternating", 14.0, 1.036, False),
        ("alternating", 15.0, 1.048, True),
        ("alternating", 0.9, 0.8788, True),
        ("impulse", 19.0, 1.08, False),
        ("impulse", 20.5, 1.095, True),
        ("direct", 14.0, 1 + 0.042 - 0.00022 * 9, False),
        ("direct", 16.0, 1 + 0.070 - 0.00022 * 25, True),
    ],
)
def test_humidity_by_kind_of_voltage(kind, ratio, parameter, warns):
    """1 + 0.012, 0.010 or 0.014 (h/δ − 11), for direct voltage less 0.00022 (h/δ − 11)²; here δ is 1."""
    found = atmosphere.correction(50.0, **AIR | {"kind": kind, "humidity_g_per_m3": ratio})
    assert found.humidity_parameter == pytest.approx(parameter)
    assert bool(found.warnings) is warns


def test_no_humidity_correction_in_rain():
    """Wet tests: k2 is 1, and h/δ is no concern."""
    found = atmosphere.correction(50.0, **AIR | {"humidity_g_per_m3": 17.0, "pressure_kpa": 95.0}, wet=True)
    assert found.humidity_factor == 1
    assert found.factor == found.density_factor < 1
    assert found.warnings == ()


def test_thin_air_is_warned_of():
    assert (
        atmosphere.correction(50.0, **AIR | {"pressure_kpa": 70.0})
        .warnings[-1]
        .startswith("The relative air density is 0.691, outside 0.8 to 1.05")
    )


@pytest.mark.parametrize(
    ("altitude_m", "reference", "exponent", "factor"),
    [
        (2000, "1000_m", 1.0, 1.1305),
        (2000, "sea_level", 1.0, 1.2781),
        (1000, "1000_m", 1.0, 1.0),
        (300, "1000_m", 1.0, 1.0),
        (1000, "sea_level", 1.0, math.exp(1000 / 8150)),
        (3000, "1000_m", 0.75, math.exp(0.75 * 2000 / 8150)),
        (-100, "sea_level", 1.0, 1.0),
        (4000, "sea_level", 0.0, 1.0),
    ],
)
def test_altitude_factors_of_both_references(altitude_m, reference, exponent, factor):
    """IEC 62271-1 from 1000 m, IEC 60071-2 from sea level, from memory; exp(m·ΔH/8150)."""
    assert atmosphere.altitude_factor(altitude_m, reference, exponent) == pytest.approx(factor, abs=5e-5)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: atmosphere.relative_air_density(1013, 20), "1013 kPa; that looks like hPa: give 101.3 kPa"),
        (lambda: atmosphere.relative_air_density(5, 20), "the pressure is 5 kPa; give 10 to 120 kPa"),
        (lambda: atmosphere.relative_air_density(101.3, math.nan), "the temperature is nan °C; give -60 to 60 °C"),
        (lambda: atmosphere.absolute_humidity_g_per_m3(20, 101), "the relative humidity is 101 %; give 0 to 100 %"),
        (lambda: atmosphere.correction(50.0, **AIR | {"kind": "steep"}), "give alternating, impulse or direct"),
        (lambda: atmosphere.correction(50.0, **AIR | {"path_m": 0}), "the discharge path is 0 m; give 0.001 to 50 m"),
        (
            lambda: atmosphere.altitude_factor(2000, "500_m"),
            "the reference height is '500_m'; give 1000_m or sea_level",
        ),
        (lambda: atmosphere.altitude_factor(7000, "1000_m"), "the altitude is 7000 m; give -430 to 6000 m"),
        (lambda: atmosphere.altitude_factor(2000, "1000_m", 1.2), "the exponent is 1.2; give 0 to 1"),
        (lambda: atmosphere.exponents(-0.1), "g is -0.1; "),
    ],
)
def test_impossible_values_are_explained(call, words):
    with pytest.raises(ValueError) as refused:
        call()
    assert words in str(refused.value)
