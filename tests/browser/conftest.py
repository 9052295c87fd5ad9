"""One site a session, one Chromium a module, one context a person."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests import servers
from tests.browser.people import PICTURES, Room, open_room
from tests.browser.site import Site, new_site

FAILED = pytest.StashKey[bool]()
CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-sync",
    "--no-first-run",
    "--no-pings",
]


@pytest.fixture(scope="session")
def site() -> Iterator[Site]:
    """Return a founded, running site on the kind of database and queue that this run is about."""
    with new_site(os.environ.get("DATABASE_URL", ""), os.environ.get("REDIS_URL", "")) as running:
        yield running


@pytest.fixture(scope="session")
def drifted_site() -> Iterator[Site]:
    """Return a site of its own with the divider that drifted, its forty runs, a check standard and a budget.

    Those rows are entered past the services, with numbers that a laboratory at work would give out again.
    """
    with new_site(os.environ.get("DATABASE_URL", ""), os.environ.get("REDIS_URL", "")) as running:
        running.found_drift()
        yield running


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Return Chromium; it goes with its module, for its event loop would stand in the way of other tests' databases."""
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=servers.chromium(), args=CHROMIUM_ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]):
    """Keep on the test whether it failed, for the pictures of what stood in the windows then."""
    report = yield
    item.stash[FAILED] = item.stash.get(FAILED, False) or report.failed
    return report


@pytest.fixture
def enter(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Callable[[str], Room]]:
    """Return a function that lets a person of the cast come in ("" for somebody without an account)."""
    rooms: list[Room] = []
    name = "drifted_site" if "drifted_site" in request.fixturenames else "site"
    site: Site = request.getfixturevalue(name)

    def come_in(key: str) -> Room:
        room = open_room(browser, site.address)
        rooms.append(room)
        if key:
            room.sign_in(key)
        return room

    yield come_in
    troubles = [trouble for room in rooms for trouble in room.troubles]
    for place, room in enumerate(rooms):
        if request.node.stash.get(FAILED, False):
            PICTURES.mkdir(exist_ok=True)
            room.page.screenshot(path=PICTURES / f"failed-{request.node.name}-{place}.png", full_page=True)
        room.context.close()
    assert not troubles, "Errors in the console:\n" + "\n".join(troubles)
