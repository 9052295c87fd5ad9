"""An instrument that drifted by a known amount: exactly the runs that the computation by hand names flip."""

from __future__ import annotations

import re

import pytest

from tests.browser.people import Room
from tests.browser.site import Site
from tests.integration.records import drifted

pytestmark = [pytest.mark.browser, pytest.mark.slow]
SHEET = "Moment\tUnit\tReference\tReading\tUncertainty\n" + "".join(
    f"{moment}\tkV\t{at}\t{at * factor:g}\t0,1\n"
    for moment, factor in (("as found", 1.04), ("as left", 1.0))
    for at in (50, 100)
)


def listed(room: Room, effect: str) -> list[int]:
    """Return the places of the runs that the page lists for an effect, under the constant assumption."""
    rows = room.page.locator("table").nth(1).locator("tbody tr")
    found = []
    for row in rows.all():
        cells = row.locator("th, td").all_inner_texts()
        if effect in cells[5]:
            found.append(int(re.search(r"R-(\d\d)", cells[0]).group(1)))
    return sorted(found)


def test_exactly_the_runs_named_by_hand_flip(enter, drifted_site: Site):
    quality = enter("quality")
    page = quality.go("/instruments/?text=HVD-9")
    quality.press("HVD-9")
    instrument = page.url
    quality.press("Read a calibration")
    page.get_by_label("Or points pasted from a sheet").fill(SHEET)
    quality.press("Read")
    quality.sees("It counts for nothing until you have compared and confirmed it.")
    quality.look("calibration-to-confirm")
    page.get_by_label("Certificate number").fill("WRONG-2")
    page.get_by_label("Calibration laboratory").fill("Tarn Metrology (invented)")
    page.get_by_label("Calibrated on").fill(drifted.FOUND_ON.isoformat())
    page.get_by_label("Expanded uncertainty, per cent").fill("0.5")
    page.get_by_label("It was adjusted").check()
    page.get_by_label("Its corrections are").select_option("none_left")
    quality.press("I have compared it: confirm")
    quality.sees("Found outside what the laboratory requires")
    quality.press("What it touched")
    work = page.url
    for _ in range(60):
        if page.get_by_text("Being recomputed").count() == 0:
            break
        page.wait_for_timeout(500)
        quality.go(work)
    quality.sees("Verdict changes")
    counts = page.locator("table").first.locator("tbody tr")
    assert [row.locator("td").all_inner_texts() for row in counts.all()] == [
        ["23", "7"], ["4", "2"], ["13", "31"], ["0", "0"],
    ]  # fmt: skip
    assert listed(quality, "Verdict changes") == drifted.FLIPS_CONSTANT
    assert listed(quality, "Doubtful") == drifted.DOUBTFUL_CONSTANT
    quality.look("found-wrong")
    quality.press("R-23")
    quality.sees("59.03 kV less the error +2.27 kV is 56.7596 kV")
    page.get_by_label("Test again").check()
    page.get_by_label("Reason").fill("The unit is still in the yard.")
    quality.look("found-wrong-run")
    quality.press("Record the decision")
    quality.sees("The decision is recorded; nothing else was changed.")
    quality.go(instrument)
    quality.look("instrument-found-wrong")
