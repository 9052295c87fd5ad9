"""What people of the laboratory do in the pages, as the journeys need it: each function is one person's deed."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from playwright.sync_api import Error, Locator, Page, expect

from tests.browser.people import Room

CUSTOMER = "Fennmark Power (invented)"
OPERATOR, SECOND = "Tove Brandt", "Sami Orlov"


def enter_order(tester: Room, reference: str, *, look: bool = False) -> str:
    """Enter an order; return the address of its page."""
    tester.go("/orders/")
    tester.press("Enter an order")
    page = tester.page
    page.get_by_label("Customer", exact=True).select_option(label=CUSTOMER)
    page.get_by_label("Purchase reference").fill(reference)
    if look:
        tester.look("order-new")
    tester.press("Enter the order")
    tester.sees("An approver reviews the contract next.")
    return page.url


def review_contract(approver: Room, order: str, *, look: bool = False) -> None:
    """Review the contract of an order."""
    approver.go(order)
    if look:
        approver.look("order-to-review")
    approver.press("The contract is reviewed")
    approver.sees("Units and plans come next.")


def add_unit(tester: Room, order: str, serial: str, *, look: bool = False) -> str:
    """Enter one series reactor of 15.5 kV and 110 kV BIL; return the address of its page."""
    page = tester.go(order)
    tester.press("Add units")
    if look:
        tester.look("unit-kind")
    tester.press("Series reactor")
    page.get_by_label("Serial numbers").fill(serial)
    page.get_by_label("Highest voltage, kV").fill("15.5")
    page.get_by_label("Lightning impulse level (BIL), kV").fill("110")
    page.get_by_label("Phases").select_option("1")
    page.get_by_label("Condition on arrival").fill("Crate sound, no marks.")
    if look:
        tester.look("unit-new")
    tester.press("Enter the units")
    tester.sees(f"Entered: {serial}.")
    return page.url


def adopt_plan(tester: Room, unit: str, *, look: bool = False) -> None:
    """Read the plan of a unit, with the figures of the trade in it, and adopt it."""
    page = tester.go(unit)
    tester.press("Read the plan")
    # Common practice, no source: 50 kV one minute; 25 kV; 10.74 kV, which the floor sets as 10.75 kV.
    expect(page.get_by_role("row", name=re.compile(r"^Withstand\b.*\b50\.00\b"))).to_be_visible()
    expect(page.get_by_role("row", name=re.compile(r"^Prestress\b.*\b25\.00\b"))).to_be_visible()
    expect(page.get_by_role("row", name=re.compile(r"^Measurement 10\.75 120 s .*\b10\.74\b"))).to_be_visible()
    if look:
        tester.look("plan")
    tester.press("Adopt the plan")
    tester.sees("Runs can be started.")


def start_run(tester: Room, unit: str, step: str, *, repeat: bool = False) -> str:
    """Start a run of the only arrangement of a step; return the address of its sheet."""
    page = tester.go(unit)
    page.get_by_role("link", name=re.compile(rf"^Start a run.*{step}", re.IGNORECASE)).click()
    page.get_by_label("Bay").select_option(label="Bay 1")
    page.get_by_label("Operator").select_option(label=OPERATOR)
    page.get_by_label("Second person").select_option(label=SECOND)
    if repeat:
        tester.sees(re.compile("repeat", re.IGNORECASE))
    page.locator("main form button[type=submit]").first.click()
    tester.sees("Go down the sheet, line by line.")
    return page.url.partition("?")[0]


def prepare(tester: Room, second: Room, run: str, *, discharge: bool, look: bool = False) -> None:
    """Go down the set-up of a sheet: the tester measures, the second person confirms in a session of their own."""
    page = tester.go(f"{run}?at=conditions")
    page.get_by_label("Temperature, °C").fill("21.4")
    page.get_by_label("Air pressure, kPa").fill("100.9")
    page.get_by_label("Relative humidity, %").fill("44")
    if look:
        tester.look("run-conditions")
    tester.press("Note the conditions")
    tester.sees("Conditions are noted.")
    for system in ["Voltage, bay 1", "Charge, bay 1"][: 1 + discharge]:
        tester.go(f"{run}?at=instruments")
        page.get_by_label("Measuring system").select_option(label=system)
        tester.press("List this system")
        tester.sees("The instruments of the measuring system are listed.")
    if look:
        tester.look("run-instruments")
    if discharge:
        _calibrate(tester, run, look=look)
    page = tester.go(f"{run}?at=scale")
    page.get_by_label("Reference, kV").fill("10")
    page.get_by_label("Reading, kV").fill("10.02")
    tester.press("Note the comparison")
    tester.sees("The voltage scale is noted.")
    _confirm(tester, second, run, discharge=discharge, look=look)


def _calibrate(tester: Room, run: str, *, look: bool) -> None:
    page = tester.go(f"{run}?at=calibration")
    page.get_by_label("Injected charge, pC").fill("100")
    page.get_by_label("Reading, pC").fill("97.5")
    tester.press("Note the calibration")
    tester.sees("The charge calibration is noted.")
    page = tester.go(f"{run}?at=noise")
    page.get_by_label("Background noise, pC").fill("4")
    if look:
        tester.look("run-noise")
    tester.press("Note the noise")
    tester.sees("The noise is noted.")


def _confirm(tester: Room, second: Room, run: str, *, discharge: bool, look: bool) -> None:
    """Show that the stages stay closed until the second person has confirmed; then confirm."""
    tester.go(f"{run}?at=open")
    tester.sees("The energised stages stay closed")
    if discharge:
        tester.sees("Nobody has confirmed that the charge calibrator is off the circuit.")
        second.go(f"{run}?at=calibrator_off")
        second.press(f"I, {SECOND}, see the calibrator off the circuit")
        second.sees("the calibrator is off the circuit.")
    if look:
        tester.look("run-closed")
        second.go(f"{run}?at=safety")
        second.look("run-safety")
    for name in ("area clear", "earths as the arrangement asks", "interlock closed"):
        second.go(f"{run}?at=safety")
        second.press(f"Confirm: {name}")
        second.sees("Confirmed, with your name.")


def energise(tester: Room, run: str, stages: int, *, look: bool = False) -> None:
    """Open the energised stages and note each as held."""
    tester.go(f"{run}?at=open")
    tester.press("Open the energised stages")
    tester.sees("The energised stages are open.")
    for place in range(1, stages + 1):
        tester.go(f"{run}?at=stage-{place}")
        if look:
            tester.look(f"run-stage-{place}")
        tester.press("Held: go on")
        tester.sees("Noted. The record decides.")


def upload(tester: Room, run: str, record: Path) -> None:
    """Store the record and wait until the worker has judged it."""
    page = tester.go(f"{run}?at=record")
    page.get_by_label("The record of this run").set_input_files(record)
    tester.press("Store the record")
    expect(page.get_by_text("SHA-256").first).to_be_visible()
    page.wait_for_url(re.compile(r"/runs/\d+/(\?at=(record|sign))?$"))
    until(tester, f"{run}?at=sign", lambda page: page.get_by_role("button", name="Sign as tester"))


def sign(tester: Room, run: str, verdict: str, *, look: str = "") -> None:
    """Read the findings and sign them as the tester, with the password again."""
    tester.go(f"{run}?at=sign")
    tester.sees(verdict)
    if look:
        tester.look(look)
    tester.confirm_password()
    tester.press("Sign as tester")
    tester.sees("Signed. The run waits for its approver.")


def approve(approver: Room, run: str, verdict: str, consequence: str, *, look: str = "") -> None:
    """Review a signed run and approve it."""
    approver.go(f"{run}review/")
    approver.sees(verdict)
    if look:
        approver.look(look)
    approver.confirm_password()
    approver.press("Sign as approver")
    approver.sees(consequence)


def perform(
    tester: Room,
    second: Room,
    unit: str,
    step: str,
    record: Path,
    verdict: str,
    *,
    look: bool = False,
    repeat: bool = False,
) -> str:
    """Perform one run from its start to the tester's signature; return the address of its sheet."""
    discharge = "discharge" in step.lower()
    run = start_run(tester, unit, step, repeat=repeat)
    prepare(tester, second, run, discharge=discharge, look=look)
    energise(tester, run, 2 if discharge else 1, look=look)
    upload(tester, run, record)
    sign(tester, run, verdict, look="run-findings" if look else "")
    return run


def certify(approver: Room, unit: str, *, look: bool = False) -> str:
    """Ask for the certificate of a unit, read its draft and issue it; return the address of its page."""
    page = approver.go(unit)
    approver.press("Results")
    if look:
        approver.look("unit-results")
    approver.press("Compose the certificate")
    page.wait_for_url(re.compile(r"/certificates/\d+/"))
    address = page.url
    until(approver, address, lambda page: page.get_by_label("Your password"))
    if look:
        approver.look("certificate-draft")
    approver.confirm_password()
    approver.press("Sign and issue")
    approver.sees("is issued")
    until(approver, address, lambda page: page.get_by_role("link", name="Certificate (PDF)"))
    return address


def dispose(approver: Room, serial: str, *, look: bool = False) -> None:
    """Find the nonconformance of a unit in the list and decide: repair and retest."""
    page = approver.go("/nonconformances/")
    if look:
        approver.look("nonconformances")
    page.get_by_role("row", name=re.compile(serial)).get_by_role("link").click()
    page.get_by_label("Repair and retest").check()
    page.get_by_label("Reason").fill("Loose shield ring found and fastened; retest agreed with the customer.")
    if look:
        approver.look("nonconformance")
    approver.press("Record the decision")
    approver.sees("The decision is recorded.")


def invite(tester: Room, run: str, mail: Path, *, look: bool = False) -> tuple[str, str]:
    """Invite a witness without an account; return the link from the mail and the code from the page."""
    page = tester.go(run)
    tester.press("Witnesses")
    page.get_by_label("Name").fill("Wanda Keller")
    page.get_by_label("Company").fill(CUSTOMER)
    page.get_by_label("E-mail address").fill("wanda@fennmark.example")
    if look:
        tester.look("witness-invite")
    before = set(mail.glob("*"))
    tester.press("Invite")
    tester.sees("Tell Wanda Keller this code")
    code = re.search(r"\b\d{8}\b", page.locator("[data-code]").inner_text())
    assert code is not None
    sent = "".join(path.read_text() for path in set(mail.glob("*")) - before)
    link = re.search(r"http://127\.0\.0\.1:\d+/portal/witness/\S+", sent)
    assert link is not None, sent
    return link[0], code[0]


def witness(guest: Room, link: str, code: str, *, look: bool = False) -> None:
    """Come in by the link, see the run and sign with the code: a wrong one signs nothing."""
    page = guest.go(link)
    guest.sees("Sign what you saw")
    if look:
        guest.look("witness")
    page.get_by_label("The code that the laboratory gave you").fill("00000000" if code != "00000000" else "11111111")
    guest.press("Sign as witness")
    guest.sees("This is not the code. Nothing was signed.")
    guest.forgive(409)
    page.get_by_label("The code that the laboratory gave you").fill(code)
    guest.press("Sign as witness")
    guest.sees("Thank you, it is signed")


def download(customer: Room, order: str, serial: str, folder: Path, *, look: bool = False) -> Path:
    """Find the unit in the portal as the customer and download its certificate."""
    page = customer.go("/portal/")
    if look:
        customer.look("portal")
    page.get_by_role("row", name=re.compile(order)).get_by_role("link").first.click()
    if look:
        customer.look("portal-order")
    customer.press(serial)
    if look:
        customer.look("portal-unit")
    with page.expect_download() as download:
        page.get_by_role("link", name=re.compile(r"\(PDF\)$")).first.click()
    path = folder / "certificate.pdf"
    download.value.save_as(path)
    return path


def until(room: Room, address: str, there: Callable[[Page], Locator]) -> None:
    """Reload a page until something is in it."""
    for _ in range(60):
        with suppress(Error):  # the page went there by itself in this very moment
            room.go(address)
        if there(room.page).count():
            return
        room.page.wait_for_timeout(1000)
    raise AssertionError(f"{address} did not change within a minute: {room.page.locator('main').inner_text()}")
