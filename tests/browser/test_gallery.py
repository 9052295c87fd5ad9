"""The gallery in a real browser: themes, widths, the chart, drafts, the hold clock; axe and the policy find nothing."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser

ACCENT = {"light": "#0b5a7a", "dark": "#7cc4e4"}
LINE_COLOUR = "document.querySelector('.chart-canvas')?.data?.[0].line.color"
OVERFLOW = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
SMALL_TARGETS = """[...document.querySelectorAll("a, button, input, select, textarea, summary")]
    .map((item) => [item, item.getBoundingClientRect()])
    .filter(([, box]) => box.width && box.height && (box.height < 24 || box.width < 24))
    .map(([item]) => item.outerHTML.slice(0, 100))"""


def becomes(page: Page, expression: str) -> None:
    """Wait until the expression is true; asked from outside, for a page with our policy evaluates no strings."""
    for _ in range(100):
        if page.evaluate(expression):
            return
        page.wait_for_timeout(50)
    raise AssertionError(expression)


@pytest.fixture
def gallery(enter):
    """Return a tester's room with the gallery open and its picture drawn."""
    room = enter("tester")
    room.go("/gallery/")
    expect(room.page.locator(".chart-canvas .main-svg").first).to_be_visible()
    return room


def draft(room):
    return room.page.locator("form[data-draft]")


@pytest.mark.parametrize(
    ("width", "theme"),
    [(360, "light"), (360, "dark"), (820, "light"), (1440, "light"), (1440, "dark"), (1920, "dark")],
)
def test_it_fits_and_axe_finds_nothing(gallery, width, theme):
    gallery.page.emulate_media(color_scheme=theme)
    gallery.page.set_viewport_size({"width": width, "height": 900})
    becomes(gallery.page, f"{LINE_COLOUR} === '{ACCENT[theme]}'")
    assert gallery.page.evaluate(OVERFLOW) == 0
    assert gallery.page.evaluate(SMALL_TARGETS) == []
    gallery.look(f"gallery-{width}-{theme}")


def test_a_chosen_theme_is_kept_and_recolours_the_picture(gallery):
    gallery.press("Use dark colours")
    becomes(gallery.page, f"{LINE_COLOUR} === '{ACCENT['dark']}'")
    gallery.page.reload()
    becomes(gallery.page, f"{LINE_COLOUR} === '{ACCENT['dark']}'")
    expect(gallery.page.get_by_role("button", name="Use light colours")).to_be_visible()


def test_paper_is_light(gallery):
    gallery.page.emulate_media(color_scheme="dark")
    becomes(gallery.page, f"{LINE_COLOUR} === '{ACCENT['dark']}'")
    gallery.page.evaluate("dispatchEvent(new Event('beforeprint'))")
    becomes(gallery.page, f"{LINE_COLOUR} === '{ACCENT['light']}'")
    gallery.page.evaluate("dispatchEvent(new Event('afterprint'))")
    becomes(gallery.page, f"{LINE_COLOUR} === '{ACCENT['dark']}'")


def test_charge_can_be_seen_logarithmically(gallery):
    button = gallery.page.get_by_role("button", name="Logarithmic charge")
    for pressed, kind in (("true", "log"), ("false", "linear")):
        button.click()
        expect(button).to_have_attribute("aria-pressed", pressed)
        becomes(gallery.page, f"document.querySelector('.chart-canvas').layout.yaxis2.type === '{kind}'")


def test_a_zoom_fetches_detail(gallery):
    with gallery.page.expect_request(re.compile(r"/gallery/chart/\?from=20&to=110$")):
        gallery.page.evaluate("Plotly.relayout(document.querySelector('.chart-canvas'), {'xaxis.range': [20, 110]})")


def test_what_was_typed_outlives_a_reload_until_it_is_put_back(gallery):
    draft(gallery).get_by_label("Remark").fill("a scratch on the tank")
    draft(gallery).get_by_label("Phase B").check()
    expect(draft(gallery).get_by_text("Not saved yet", exact=True)).to_be_visible()
    gallery.page.reload()
    expect(draft(gallery).get_by_text("Restored what you had typed")).to_be_visible()
    expect(draft(gallery).get_by_label("Remark")).to_have_value("a scratch on the tank")
    expect(draft(gallery).get_by_label("Phase B")).to_be_checked()
    gallery.press("Put back what is saved")
    expect(draft(gallery).get_by_label("Remark")).to_have_value("")
    gallery.page.reload()
    expect(draft(gallery).get_by_label("Remark")).to_have_value("")
    expect(draft(gallery).get_by_text("Restored what you had typed")).to_have_count(0)


def test_a_draft_says_where_another_value_was_saved_meanwhile(gallery):
    draft(gallery).get_by_label("Serial").fill("XX-0002")
    expect(draft(gallery).get_by_text("Not saved yet", exact=True)).to_be_visible()
    gallery.page.route("**/gallery/", lambda route: _answer_changed(route))
    gallery.page.reload()
    expect(draft(gallery).get_by_label("Serial")).to_have_value("XX-0002")
    expect(draft(gallery).get_by_text("Saved differently meanwhile: Serial (now “XX-0009”).")).to_be_visible()


def _answer_changed(route):
    answer = route.fetch()
    route.fulfill(response=answer, body=answer.text().replace('value="XX-0001"', 'value="XX-0009"'))


def test_a_draft_goes_when_the_server_says_that_it_is_saved(gallery):
    draft(gallery).get_by_label("Remark").fill("saved by now")
    expect(draft(gallery).get_by_text("Not saved yet", exact=True)).to_be_visible()
    mark = '<span hidden data-draft-saved="gallery"></span><div class="page-head">'
    gallery.page.route(
        "**/gallery/",
        lambda route: route.fulfill(body=route.fetch().text().replace('<div class="page-head">', mark, 1)),
    )
    gallery.page.reload()
    expect(draft(gallery).get_by_label("Remark")).to_have_value("")
    expect(draft(gallery).get_by_text("Restored what you had typed")).to_have_count(0)


def test_the_hold_clock_runs_from_the_press_of_the_button(gallery):
    gallery.page.clock.install()
    gallery.page.reload()
    gallery.press("Start the clock")
    gallery.page.clock.run_for(44_000)
    expect(gallery.page.locator("[data-hold-clock]")).to_have_text("1:16")
    gallery.page.clock.run_for(77_000)
    expect(gallery.page.locator("[data-hold-clock]")).to_have_text("0:00")
    expect(gallery.page.get_by_text("Time is up: read now")).to_be_visible()


def test_the_menu_of_a_phone_opens_without_a_script(browser, site, enter):
    room = enter("tester")
    context = browser.new_context(
        java_script_enabled=False, viewport={"width": 360, "height": 800}, storage_state=room.context.storage_state()
    )
    page = context.new_page()
    page.goto(f"{site.address}/gallery/")
    page.get_by_text("Menu", exact=True).click()
    expect(page.get_by_role("navigation", name="Rooms")).to_be_visible()
    context.close()
