"""Heads and units: a closed list, with the traps of case."""

from __future__ import annotations

import pytest

from records.readers.units import CHANNELS, UNITS, factor_to, is_unit, spellings_of, understand_head


@pytest.mark.parametrize(
    ("channel", "unit", "factor"),
    [
        ("time_s", "s", 1.0),
        ("time_s", "ms", 1e-3),
        ("time_s", "µs", 1e-6),  # micro sign
        ("time_s", "μs", 1e-6),  # Greek mu
        ("time_s", "us", 1e-6),
        ("time_s", "min", 60.0),
        ("voltage_kv", "kV", 1.0),
        ("voltage_kv", "V", 1e-3),
        ("voltage_kv", "mV", 1e-6),
        ("voltage_kv", "MV", 1e3),
        ("voltage_kv", "[kV]", 1.0),
        ("charge_pc", "pC", 1.0),
        ("charge_pc", "pc", 1.0),  # not a parsec
        ("charge_pc", "PC", 1.0),  # not a petacoulomb
        ("charge_pc", "nC", 1e3),
    ],
)
def test_factor(channel, unit, factor):
    assert factor_to(channel, unit) == factor


@pytest.mark.parametrize(
    ("channel", "unit"),
    [("time_s", "m"), ("time_s", "kV"), ("voltage_kv", "s"), ("charge_pc", "C"), ("voltage_kv", ""), ("nothing", "s")],
)
def test_what_is_not_on_the_list_is_not_guessed(channel, unit):
    assert factor_to(channel, unit) is None


@pytest.mark.parametrize(
    ("head", "understood"),
    [
        ("time_s", ("time_s", "s")),
        ("Voltage (kV)", ("voltage_kv", "kV")),
        ("U/kV", ("voltage_kv", "kV")),
        ("U / V", ("voltage_kv", "V")),
        ("charge [pC]", ("charge_pc", "pC")),
        ('"Charge (nC)"', ("charge_pc", "nC")),
        ("Test voltage (kV)", ("voltage_kv", "kV")),
        ("Voltage kV", ("voltage_kv", "kV")),
        ("U_kV", ("voltage_kv", "kV")),
        ("voltage in V", ("voltage_kv", "V")),
        ("Zeit", ("time_s", None)),
        ("q", ("charge_pc", None)),
        ("Remark", (None, None)),
        ("CH1", (None, None)),
        ("CH1 (kV)", (None, "kV")),
        ("", (None, None)),
    ],
)
def test_heads(head, understood):
    assert understand_head(head) == understood


def test_a_unit_row_is_recognised_cell_by_cell():
    assert [is_unit(cell) for cell in ("s", "[kV]", "(pC)", "7", "")] == [True, True, True, False, False]


def test_every_channel_names_its_own_unit_with_factor_one():
    assert {channel: factor_to(channel, UNITS[channel]) for channel in CHANNELS} == dict.fromkeys(CHANNELS, 1.0)
    assert all(unit in spellings_of(channel) for channel, unit in UNITS.items())
