"""Records in other formats than text: pairs of files, spreadsheets, and the page that shows their first rows."""

from __future__ import annotations

import pytest
from django.urls import reverse

from labsite.jobs.services import run_waiting
from records.charts import picture_of
from records.evaluation.synthesis import synthesise_discharge
from records.readers.kept import read_arrays
from records.services import uploads
from records.services.storing import absolute
from tests.integration.records import laboratory
from tests.recordfiles import comtrade_configuration, comtrade_data, sheet_xml, workbook_bytes

pytestmark = pytest.mark.django_db


def _wave():
    made = synthesise_discharge(laboratory.DISCHARGE, None, seed=3, noise_pc=4.0)
    return made.time_s, made.channels["voltage_kv"], made.channels["charge_pc"]


def _pair():
    """Give configuration and data of a conforming discharge record, as a recorder writes them."""
    _, voltage, charge = _wave()
    analogs = (("U", "kV", 0.001, 0, 1, 1, "P"), ("Q", "pC", 0.01, 0, 1, 1, "P"))
    words = [(round(1000 * u), round(100 * q)) for u, q in zip(voltage, charge, strict=True)]
    text = comtrade_configuration("BINARY32", samples=len(words), analogs=analogs, rates=((10, None),), line_hz="0")
    return text.encode(), comtrade_data("BINARY32", words)


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_the_two_files_of_a_pair_are_uploaded_one_after_the_other(prepared, order):
    way = prepared().open()
    files = _pair()
    names = ("R1.cfg", "R1.dat")
    first = way.upload(files[order[0]], names[order[0]]).record
    first.refresh_from_db()
    assert first.state == "refused"
    second = way.upload(files[order[1]], names[order[1]]).record
    first.refresh_from_db()
    second.refresh_from_db()
    assert (second.state, first.state) == ("read", "read")
    assert first.words == f"Read together with “{names[order[1]]}”."
    assert second.summary["companion"] == {"name": names[order[0]], "sha256": first.sha256}
    assert way.now.state == "judged"
    assert way.now.evaluations.get().record == second


def test_a_configuration_whose_data_never_come_says_what_is_missing(prepared):
    way = prepared().open()
    record = way.upload(_pair()[0], "R1.cfg").record
    record.refresh_from_db()
    assert record.words.startswith("The file is the configuration of a COMTRADE record (.cfg)")
    assert way.now.state == "energised"


def test_a_plain_record_after_a_lone_configuration_is_read_alone(prepared):
    way = prepared().open()
    lone = way.upload(_pair()[0], "R1.cfg").record
    record = way.upload(laboratory.conforming()).record
    record.refresh_from_db()
    lone.refresh_from_db()
    assert (record.state, lone.state) == ("read", "refused")
    assert record.summary["companion"] is None
    assert way.now.verdict == "conforms"


def test_a_spreadsheet_is_judged_and_its_first_rows_are_kept_for_the_page(prepared, client):
    way = prepared().open()
    columns = [values.round(4).tolist() for values in _wave()]
    heads = ["t (s)", "U (kV)", "q (pC)"]
    record = way.upload(workbook_bytes(sheet_xml([heads, *zip(*columns, strict=True)])), "trend.xlsx").record
    record.refresh_from_db()
    assert record.state == "read"
    assert record.summary["preview"]["how"] == "Read as a spreadsheet, sheet “Record”; numbers begin in row 2."
    client.force_login(way.operator)
    page = client.get(reverse("records:mapping", args=[record.pk])).content.decode()
    assert "First rows as they were read" in page
    assert "Read as a spreadsheet, sheet “Record”" in page
    sheet = client.get(f"{reverse('records:run', args=[way.run.pk])}?at=record").content.decode()
    assert "First rows as they were read" in sheet


def test_arrays_are_kept_as_parquet_and_drawn_from_it(prepared):
    way = prepared().open()
    record = way.upload(laboratory.conforming()).record
    record.refresh_from_db()
    assert record.summary["arrays"].endswith(".parquet")
    assert absolute(record.summary["arrays"]).read_bytes()[:4] == b"PAR1"
    kept = read_arrays(absolute(record.summary["arrays"]), record.summary["channels"])
    assert list(kept) == ["time_s", "voltage_kv", "charge_pc"]
    assert len(kept["time_s"]) == record.summary["rows"]
    assert picture_of(way.now.evaluations.get()).time_s.tolist() == kept["time_s"].tolist()


def _unnamed(rows):
    return workbook_bytes(sheet_xml([["T", "CH1", "CH2"], *rows]))


def test_a_mapping_told_for_one_spreadsheet_is_used_for_the_next(prepared, start, voltage_system):
    rows = list(zip(*[values.round(4).tolist() for values in _wave()], strict=True))
    way = prepared().open()
    record = way.upload(_unnamed(rows), "trend.xlsx").record
    record.refresh_from_db()
    assert record.state == "needs_mapping"
    assert [column["samples"][0] for column in record.summary["preview"]["columns"]] == [str(cell) for cell in rows[0]]
    instrument = voltage_system.components.get().instrument
    units = {"time_s": ("T", "s"), "voltage_kv": ("CH1", "kV"), "charge_pc": ("CH2", "pC")}
    mapping = {channel: {"column": column, "unit": unit} for channel, (column, unit) in units.items()}
    uploads.tell_columns(record=record, column_map=mapping, remember_for=instrument, by=way.operator)
    assert run_waiting() == 1
    assert way.now.state == "judged"
    other = start(place=2).prepare(*[use.system for use in way.now.instruments.all()]).open()
    again = other.upload(_unnamed(rows[1:]), "next.xlsx").record
    again.refresh_from_db()
    assert (again.state, other.now.state) == ("read", "judged")
    assert again.summary["columns_used"] == mapping
