"""Impulses, a sweep, a cooling curve and a run of two files: from the upload to the approver's page."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser import work
from tests.browser.people import Room

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def opened(site, tmp_path_factory) -> dict[str, dict[str, Any]]:
    """Return the opened runs of this module with the files to upload, by kind."""
    return site.open_runs(tmp_path_factory.mktemp("kinds"))


def sheet_of(opened: dict[str, dict[str, Any]], kind: str) -> tuple[str, list[Path]]:
    """Return the address of a run's sheet and its files."""
    found = opened[kind]
    return f"/runs/{found['run']}/", [Path(place) for place in found["files"]]


def store(tester: Room, run: str, record: Path, part: str = "") -> None:
    """Store one file, saying which part it plays where the page asks."""
    page = tester.go(f"{run}?at=record")
    if part:
        page.locator("form[enctype]").get_by_label("What this file is").select_option(label=part)
    page.get_by_label("The record of this run").set_input_files(record)
    tester.press("Store the record")
    expect(page.get_by_text(record.name).first).to_be_visible()


def drawn(page: Page) -> None:
    """Expect every picture of the page to be drawn."""
    for figure in page.locator("figure.picture").all():
        expect(figure.locator(".main-svg").first).to_be_visible()


def judged(tester: Room, approver: Room, run: str, verdict: str, look: str) -> Page:
    """Wait for the verdict, sign as the tester, and open the approver's page."""
    work.until(tester, f"{run}?at=sign", lambda page: page.get_by_role("button", name="Sign as tester"))
    drawn(tester.page)
    work.sign(tester, run, verdict, look=f"{look}-findings")
    page = approver.go(f"{run}review/")
    approver.sees(verdict)
    drawn(page)
    approver.look(f"review-{look}")
    return page


def test_a_sequence_of_impulses(enter, opened):
    run, files = sheet_of(opened, "lightning_impulse")
    tester, approver = enter("tester"), enter("approver")
    assert len(files) == 4
    for file in files:
        store(tester, run, file)
    tester.look("run-impulses")
    page = judged(tester, approver, run, "Conforms", "impulses")
    assert page.get_by_role("row", name=re.compile("One impulse of the sequence")).count() == 4
    page.get_by_role("link", name=f"1 {files[0].name}").click()
    # made with a crest of 0.998 of the 66 kV that the plan asks of a reduced wave: 65.87 kV
    approver.sees(re.compile(r"Impulse of negative polarity, test voltage 65\.[89]"))
    drawn(page)


def test_a_sweep_of_two_branches(enter, opened):
    run, files = sheet_of(opened, "frequency_response")
    tester, approver = enter("tester"), enter("approver")
    store(tester, run, files[0])
    page = judged(tester, approver, run, "Conforms", "sweep")
    assert page.get_by_role("row", name=re.compile(r"^Tuned order")).count() == 2
    approver.sees(re.compile(r"series resonances at 28\d"))


def test_a_cooling_curve_whose_shutdown_is_stated(enter, opened):
    run, files = sheet_of(opened, "temperature_rise")
    tester, approver = enter("tester"), enter("approver")
    page = tester.go(run)
    page.get_by_label("Moment of shutdown, s").fill("30")
    page.get_by_label("Cold resistance, Ω").fill("0.0421")
    page.get_by_label("Temperature of the cold resistance, °C").fill("2050")
    tester.press("Note the values")
    tester.sees("2050 °C cannot be. Give a number from -60 to 300; check the unit.")
    tester.forgive(422)
    page.get_by_label("Temperature of the cold resistance, °C").fill("20.5")
    tester.look("run-values")
    tester.press("Note the values")
    tester.sees("The values are noted.")
    store(tester, run, files[0])
    page = judged(tester, approver, run, "Conforms", "cooling")
    # made so that the winding stood 61 K over its surroundings when the current was cut off
    assert page.get_by_role("row", name=re.compile(r"^Temperature rise 6[01]\.\d")).count() == 1
    approver.sees("after shutdown")


def test_a_list_of_pulses_with_its_voltage_in_a_second_file(enter, opened):
    run, files = sheet_of(opened, "partial_discharge")
    tester, approver = enter("tester"), enter("approver")
    store(tester, run, files[0])
    work.until(tester, f"{run}?at=sign", lambda page: page.get_by_role("button", name="Sign as tester"))
    tester.sees("Inconclusive")  # nothing tells at which voltage the pulses were
    voltage = "The voltage over the same time, where the record is a list of pulses"
    store(tester, run, files[1], voltage)
    work.until(tester, f"{run}?at=record", lambda page: page.get_by_role("link", name="Read the findings"))
    tester.look("run-two-files")
    page = judged(tester, approver, run, "Conforms", "two-files")
    assert page.get_by_role("heading", name="Pulses by phase").count() == 1
    assert page.get_by_role("row", name=re.compile(re.escape(files[1].name))).count() == 1
