"""Every row of every shipped table against values typed independently of the packs; see SOURCE.md."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from schedules.rules import derive_plan, load_packs

PACKS = {pack.name: pack for pack in load_packs()}


def expected_rows() -> dict[tuple[str, str], list[tuple[float, float, tuple[float, ...], str]]]:
    tables: dict[tuple[str, str], list] = {}
    with Path(__file__).with_name("levels.csv").open(encoding="utf-8", newline="") as file:
        for line in csv.DictReader(file):
            impulses = tuple(float(word) for word in line["lightning_impulse_kv"].split())
            row = (float(line["highest_voltage_kv"]), float(line["power_frequency_kv"]), impulses, line["confidence"])
            tables.setdefault((line["pack"], line["table"]), []).append(row)
    return tables


EXPECTED = expected_rows()


def test_no_shipped_table_is_left_unchecked():
    assert {(pack.name, table.name) for pack in PACKS.values() for table in pack.tables} == set(EXPECTED)


@pytest.mark.parametrize(("pack", "table"), EXPECTED, ids=lambda name: name)
def test_rows(pack, table):
    shipped = next(one for one in PACKS[pack].tables if one.name == table)
    found = [
        (row.highest_voltage_kv, row.power_frequency_kv, row.lightning_impulse_kv, row.reason.confidence)
        for row in shipped.rows
    ]
    assert found == EXPECTED[pack, table]


def test_isolating_distance_of_series_1():
    """IEC 62271-1 Table 1a, from memory."""
    table = next(one for one in PACKS["iec_62271_1_2011"].tables if one.name == "series_1")
    assert [row.columns["isolating_kv"] for row in table.rows] == [12, 23, 32, 45, 60, 80, 110, 160]


@pytest.mark.parametrize(
    ("highest_kv", "impulse_kv", "prestress_kv", "exact_kv", "written_kv", "set_kv"),
    [
        (15.5, 110, 25.0, 1.2 * 15.5 / 3**0.5, 10.74, 10.75),  # the trade's own example
        (27.0, 125, 30.0, 1.2 * 27.0 / 3**0.5, 18.71, 18.75),  # 18.7061 rounded upward
        (38.0, 150, 40.0, 1.2 * 38.0 / 3**0.5, 26.33, 26.35),  # 26.3272 rounded upward
    ],
)
def test_agreed_discharge_practice(highest_kv, impulse_kv, prestress_kv, exact_kv, written_kv, set_kv):
    """Common practice, no source: half the withstand, then 1.2 × highest voltage / √3, rounded upward."""
    ratings = {"equipment": "series_reactor", "highest_voltage_kv": highest_kv, "lightning_impulse_kv": impulse_kv}
    prestress, measurement = derive_plan(ratings).steps[1].procedure.stages
    assert prestress.voltage_kv == prestress_kv
    assert measurement.exact_kv == pytest.approx(exact_kv, abs=1e-6)
    assert (measurement.voltage_kv, measurement.set_point_kv) == (written_kv, set_kv)
