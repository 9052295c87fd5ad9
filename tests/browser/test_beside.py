"""Runs on top of each other: another run of the unit, then a sister's, seen in the legend and taken away again."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser.sisters import SISTER, UNIT

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def judged(site) -> list[dict[str, Any]]:
    """Return two runs of one unit and one of its sister, all judged."""
    return site.judge_sisters()


def legend(page: Page) -> list[str]:
    """Return the names in the legend of the first picture, in their order."""
    figure = page.locator("figure.picture").first
    expect(figure.locator(".main-svg").first).to_be_visible()
    return figure.locator(".legend .legendtext").all_text_contents()


def test_a_person_lays_runs_over_each_other_and_takes_one_away(enter, judged):
    first, second, sister = judged
    names = [f"{first['number']}, {UNIT}", f"{second['number']}, {UNIT}", f"{sister['number']}, {SISTER}"]
    approver = enter("approver")
    page = approver.go(f"/runs/{first['run']}/review/")
    page.get_by_role("link", name="Lay over other runs of this unit and its sisters").click()
    expect(page.get_by_role("heading", name=re.compile("beside others"))).to_be_visible()
    expect(page.locator("figure.picture")).to_have_count(0)  # nothing is drawn before something is chosen
    of_unit = page.get_by_label(re.compile(rf"{second['number']}: {UNIT}"))
    of_sister = page.get_by_label(re.compile(rf"{sister['number']}: {SISTER}"))
    of_unit.check()
    approver.press("Lay them on top of each other")
    assert legend(page) == names[:2]
    caption = page.locator("figure.picture figcaption").first
    expect(caption).to_contain_text(f"{first['number']} ({UNIT}), {second['number']} ({UNIT}) on one time axis")
    of_sister.check()
    approver.press("Lay them on top of each other")
    expect(page.locator("figure.picture .legend .legendtext")).to_have_count(3)
    assert legend(page) == [names[0], names[2], names[1]]  # the run itself, then the others, the newest first
    expect(of_unit).to_be_checked()  # what was chosen stays chosen
    approver.look("runs-on-top")
    of_unit.uncheck()
    approver.press("Lay them on top of each other")
    expect(page.locator("figure.picture .legend .legendtext")).to_have_count(2)
    assert legend(page) == [names[0], names[2]]
    expect(caption).not_to_contain_text(second["number"])
    page.get_by_text("The same as a table").click()
    expect(page.get_by_role("columnheader", name=re.compile(sister["number"]))).to_be_visible()
    of_sister.uncheck()
    approver.press("Lay them on top of each other")
    expect(page.locator("figure.picture")).to_have_count(0)
