"""The pages of instruments in three sizes, light and dark: axe finds nothing, nothing is wider than the window."""

from __future__ import annotations

import pytest

from tests.browser.people import look, open_room
from tests.browser.site import Site

pytestmark = [pytest.mark.browser, pytest.mark.slow]
SIZES = {"phone": 360, "tablet": 820, "wide": 1920}
PAGES = {
    "board": "/instruments/",
    "timeline": "/instruments/?view=timeline",
    "labels": "/instruments/labels/",
    "intervals": "/instruments/intervals/",
    "checks": "/instruments/checks/",
    "reminders": "/instruments/reminders/",
    "audit": "/audit/?since=2025-01-01",
    "import": "/instruments/import/",
}
FOLLOWED = {
    "interval": ("/instruments/?text=HVD-8", ["HVD-8", "Drift and interval"]),
    "check": ("/instruments/checks/", ["Reference divider"]),
    "system": ("/instruments/systems/", ["Voltage chain"]),
}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_pages_of_instruments_hold_in_every_size(browser, drifted_site: Site, size, scheme):
    room = open_room(browser, drifted_site.address, viewport={"width": SIZES[size], "height": 900}, color_scheme=scheme)
    room.sign_in("quality")
    for name, path in PAGES.items():
        room.go(path)
        _holds(room, f"{name}-{size}-{scheme}")
    for name, (path, links) in FOLLOWED.items():
        room.go(path)
        for link in links:
            room.page.locator("main").get_by_role("link", name=link, exact=True).first.click()
        _holds(room, f"{name}-{size}-{scheme}")
    assert not room.troubles
    room.context.close()


def test_the_sheet_of_labels_is_printed_without_the_page_around_it(browser, drifted_site: Site):
    room = open_room(browser, drifted_site.address, viewport={"width": 794, "height": 1123})
    room.sign_in("quality")
    page = room.go("/instruments/labels/")
    page.emulate_media(media="print")
    label = page.locator(".label").first.bounding_box()
    assert label["width"] == pytest.approx(63 / 25.4 * 96, abs=1)
    assert label["height"] == pytest.approx(34 / 25.4 * 96, abs=1)
    assert not page.locator(".no-print").is_visible()
    page.screenshot(path="test-results/labels-printed.png", full_page=True)
    room.context.close()


def _holds(room, name: str) -> None:
    look(room.page, name)
    spill = room.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert spill <= 0, f"{name} is {spill} px wider than the window"


def test_on_a_phone_each_cell_of_a_table_says_what_its_column_is(browser, drifted_site: Site):
    room = open_room(browser, drifted_site.address, viewport={"width": 360, "height": 900})
    room.sign_in("quality")
    page = room.go("/instruments/systems/")
    heads = page.locator(".table thead th").all_inner_texts()
    row = page.locator(".table tbody tr").first
    assert len(heads) >= 3
    assert row.locator("td").evaluate_all("cells => cells.map(cell => cell.dataset.label)") == heads[1:]
    assert row.evaluate("row => getComputedStyle(row).display") == "grid"
    room.context.close()
