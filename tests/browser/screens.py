"""Keeps pictures of the real screens of the demonstration: `python -m tests.browser.screens docs/screens`."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, sync_playwright

from tests import servers
from tests.browser.people import Room, open_room

WIDE, TABLET, PHONE = (
    {"width": 1280, "height": 860},
    {"width": 820, "height": 1100},
    {"width": 360, "height": 740},
)


def main(folder: Path) -> None:
    """Start the demonstration on data of its own and keep a dozen pictures."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings")
    import django

    django.setup()
    from tests.browser.conftest import CHROMIUM_ARGUMENTS
    from tests.browser.site import new_site

    folder.mkdir(parents=True, exist_ok=True)
    with new_site(demo=True) as site, sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=servers.chromium(), args=CHROMIUM_ARGUMENTS)
        take(chromium, site.address, folder)
        chromium.close()


def take(browser: Browser, address: str, folder: Path) -> None:
    """Go round as each person and keep the pictures."""

    def room(key: str, size: dict[str, int], **options: Any) -> Room:
        made = open_room(browser, address, viewport=size, **options)
        if key:
            made.sign_in(key)
        return made

    def keep(made: Room, name: str, path: str) -> None:
        made.go(path)
        made.page.wait_for_load_state("networkidle")
        made.page.wait_for_timeout(500)
        made.page.screenshot(path=folder / f"{name}.png")

    keep(room("", WIDE), "sign-in", "/account/login/")
    tester = room("tester", WIDE)
    keep(tester, "today", "/today/")
    keep(tester, "order", first(tester, "/orders/", "/orders/"))
    unit = first(tester, "/units/", "/units/")
    keep(tester, "unit", unit)
    open_run = first(tester, "/today/", "/runs/")
    keep(room("tester", TABLET), "run-sheet-tablet", f"{open_run}?at=stage-1")
    keep(room("tester", PHONE, device_scale_factor=2), "run-sheet-phone", f"{open_run}?at=stage-1")
    certified = first(tester, "/certificates/", "/certificates/")
    approver = room("approver", WIDE)
    failed = first(approver, first(approver, "/nonconformances/", "/nonconformances/"), "/runs/", ending="/review/")
    keep(approver, "review-light", failed)
    keep(room("approver", WIDE, color_scheme="dark"), "review-dark", failed)
    keep(approver, "nonconformance", first(approver, "/nonconformances/", "/nonconformances/"))
    keep(approver, "impulse", review_of(approver, "SR-0955", "Lightning impulse"))
    keep(approver, "sweep", review_of(approver, "TF-0311", "Tuning sweep"))
    keep(approver, "cooling", review_of(approver, "SR-0955", "Temperature rise"))
    keep(approver, "certificate", certified)
    keep(approver, "rule-packs", "/packs/")
    quality = room("quality", WIDE)
    keep(quality, "instruments", "/instruments/")
    voltmeter = first(quality, "/instruments/?q=V-11", "/instruments/")
    keep(quality, "drift-and-interval", f"{voltmeter}interval/")
    keep(quality, "daily-check", first(quality, "/instruments/checks/", "/instruments/checks/"))
    keep(room("quality", PHONE, device_scale_factor=2), "instruments-phone", "/instruments/")
    keep(room("customer", WIDE), "portal", "/portal/")
    keep_first_page(approver, certified, folder / "certificate-page-1")


def first(room: Room, page: str, prefix: str, *, ending: str = "/") -> str:
    """Return the first address in the body of a page that begins and ends so and names one thing."""
    room.go(page)
    found = [link.get_attribute("href") or "" for link in room.page.locator("main a[href]").all()]
    paths = [path.partition("?")[0] for path in found]
    return next(
        path for path in paths if path.startswith(prefix) and path.endswith(ending) and any(map(str.isdigit, path))
    )


def review_of(room: Room, serial: str, title: str) -> str:
    """Return the address of the review of a unit's run by the title of its step."""
    room.go("/units/")
    unit = room.page.locator("main").get_by_role("link", name=serial, exact=True).first.get_attribute("href")
    room.go(f"{unit}results/")
    run = room.page.locator(f"main section[aria-label^='{title}'] a[href*='/review/']").first
    return run.get_attribute("href") or ""


def keep_first_page(room: Room, certificate: str, target: Path) -> None:
    """Keep the first page of the certificate's PDF as a picture."""
    answer = room.context.request.get(f"{room.address}{certificate}file/")
    with tempfile.NamedTemporaryFile(suffix=".pdf") as file:
        file.write(answer.body())
        file.flush()
        command = ["pdftoppm", "-png", "-singlefile", "-r", "80", "-f", "1", "-l", "1", file.name, str(target)]
        subprocess.run(command, check=True)


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "docs/screens"))
