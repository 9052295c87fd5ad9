"""The people of a journey: each has a browser context of their own, and every page they open is watched."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, expect

from records.demo.cast import PASSWORD, PEOPLE

PICTURES = Path(__file__).resolve().parents[2] / "test-results"
DESKTOP = {"width": 1280, "height": 900}
EMAILS = {person.key: person.email for person in PEOPLE}
# The policy's report as a console error, so that one list holds all that went wrong in a page.
REPORT_VIOLATIONS = """
document.addEventListener("securitypolicyviolation", (event) =>
    console.error("Content policy: " + event.violatedDirective + " " + event.blockedURI));
"""
# Rules of WCAG 2.2 AA and axe's own advice; nothing is switched off.
AXE_OPTIONS: dict[str, Any] = {"resultTypes": ["violations"]}


@dataclass
class Room:
    """One person's browser at the site: the context, the page, and what went wrong in it."""

    context: BrowserContext
    page: Page
    address: str
    troubles: list[str] = field(default_factory=list)

    def go(self, path: str) -> Page:
        """Open an address of the site; a server error is a failure."""
        answer = self.page.goto(path if path.startswith("http") else f"{self.address}{path}")
        if answer is not None:  # else the page went to this very address by itself in this moment
            assert answer.status < 500, f"{path} answered {answer.status}"
        return self.page

    def sign_in(self, key: str, password: str = PASSWORD) -> None:
        """Sign in as a person of the cast."""
        self.go("/account/login/")
        self.page.get_by_role("textbox", name="E-mail address").fill(EMAILS[key])
        self.page.get_by_role("textbox", name="Password").fill(password)
        self.page.get_by_role("button", name="Sign in").click()
        expect(self.page.get_by_role("heading", name="Sign in")).to_have_count(0)

    def press(self, name: str) -> None:
        """Press a button or follow a link of exactly this name."""
        self.page.get_by_role("button", name=name, exact=True).or_(
            self.page.get_by_role("link", name=name, exact=True)
        ).first.click()

    def confirm_password(self) -> None:
        """Give the password again where the page asks for it before a signature."""
        self.page.get_by_label("Your password").fill(PASSWORD)

    def sees(self, words: str | re.Pattern[str]) -> None:
        """Expect the words somewhere in the page."""
        expect(self.page.get_by_text(words).first).to_be_visible()

    def forgive(self, status: int) -> None:
        """Drop the browser's own note that a page was answered with a status that the test asked for."""
        self.troubles[:] = [words for words in self.troubles if f"status of {status}" not in words]

    def look(self, name: str) -> None:
        """Let axe read the page and keep a picture of it; axe must find nothing."""
        look(self.page, name)

    def _on_console(self, message: ConsoleMessage) -> None:
        if message.type == "error":
            self.troubles.append(f"{self.page.url}: {message.text}")


def look(page: Page, name: str) -> None:
    """Keep a picture in `test-results/` and let axe read the page; it must find nothing."""
    PICTURES.mkdir(exist_ok=True)
    page.screenshot(path=PICTURES / f"{name}.png", full_page=True)
    found = Axe().run(page, options=AXE_OPTIONS).response["violations"]
    lines = [
        f"{rule['id']} ({rule['impact']}): {rule['help']}\n    " + "\n    ".join(node["html"] for node in rule["nodes"])
        for rule in found
    ]
    assert not found, f"axe on {name} ({page.url}):\n" + "\n".join(lines)


def open_room(browser: Browser, address: str, **options: Any) -> Room:
    """Open a context of its own, whose errors are collected."""
    context = browser.new_context(**{"viewport": DESKTOP, "locale": "en-GB", "reduced_motion": "reduce", **options})
    context.add_init_script(REPORT_VIOLATIONS)
    page = context.new_page()
    page.set_default_timeout(15_000)
    room = Room(context, page, address)
    context.on("console", room._on_console)
    context.on("weberror", lambda error: room.troubles.append(f"{page.url}: {error.error}"))
    return room
