"""Wrong files and wrong entries, by hand through the pages: each is answered in words, and nothing wrong is stored."""

from __future__ import annotations

import gzip
import html
import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from labsite.jobs.services.running import run_waiting
from records.models import Evaluation, Record, Run
from schedules.models import Arrangement
from tests.integration.certificates import world
from tests.integration.test_permission_walk import rows

HEAD = "Time (s),Voltage (kV),Charge (pC)\n"
LINES = [f"{second},{min(second, 25)},{3}\n" for second in range(200)]


def _lines(changed: dict[int, str]) -> bytes:
    return (HEAD + "".join(changed.get(place, line) for place, line in enumerate(LINES))).encode()


# What is in the file, and the words that the page must use for it.
FILES: dict[str, tuple[bytes, str]] = {
    "empty": (b"", r"empty"),
    "binary junk": (bytes(range(256)) * 64, r"not text|binary|cannot be read"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + bytes(200), r"not text|binary|picture|image"),
    "a packed file": (gzip.compress(_lines({})), r"packed|compress|not text|binary|gzip"),
    "a workbook": (b"PK\x03\x04" + bytes(300), r"packed|workbook|not text|binary|zip"),
    "only a head": (HEAD.encode(), r"no (?:rows|numbers|values|data)|rows"),
    "only blank lines": (b"\n\n\n   \n", r"no |empty|blank"),
    "words where numbers belong": (_lines({120: "120,about 25,3\n"}), r"(?:row|line) 12[12]"),
    "time that goes backwards": (_lines({100: "50,25,3\n"}), r"back|before|earlier"),
    "a last line cut off": (_lines({199: "199,2"}), r"cut|columns|fields|ends|truncated|charge"),
    "a line with too many fields": (_lines({90: "90,25,3,7,8\n"}), r"(?:row|line) 9[12]|columns|fields"),
    "no voltage": (b"Time (s),Charge (pC)\n" + b"".join(b"%d,3\n" % n for n in range(50)), r"[Vv]oltage"),
    "unknown heads": (b"A,B,C\n" + b"".join(b"%d,25,3\n" % n for n in range(50)), r"column"),
    "a unit nobody knows": (
        b"Time (s),Voltage (furlong),Charge (pC)\n" + b"".join(b"%d,25,3\n" % n for n in range(50)),
        r"furlong|unit",
    ),
    "not a number": (_lines({60: "60,NaN,3\n"}), r"(?:row|line) 6[12]|not a number|NaN"),
    "an infinite value": (_lines({60: "60,inf,3\n"}), r"(?:row|line) 6[12]|finite|inf"),
    "a page of the web": (b"<!doctype html><html><body>Not found</body></html>", r"column|HTML|no |head"),
}


@pytest.fixture
def run(customer, tester, second_tester, approver) -> Run:
    """Return a discharge run whose energised stages are open."""
    unit = world.unit_of(world.order_of(customer, tester), tester)
    arrangement = Arrangement.objects.filter(step__plan__unit=unit, step__kind="partial_discharge").first()
    assert arrangement is not None
    return Run.objects.create(
        number="R-2026-0777",
        step=arrangement.step,
        arrangement=arrangement,
        bay=world.bay(),
        state=Run.State.ENERGISED,
        operator=tester,
        second_person=second_tester,
        started_at=world.NOW,
        temperature_c=21.0,
        pressure_kpa=101.0,
        relative_humidity_pct=40.0,
    )


@pytest.fixture
def as_tester(tester) -> Client:
    """Return the tester's browser."""
    client = Client()
    client.force_login(tester)
    return client


def words_of(answer: Any) -> str:
    """Return a page's text without its tags."""
    return html.unescape(re.sub(r"<[^>]+>", " ", answer.content.decode()))


@pytest.mark.parametrize("name", FILES)
def test_wrong_file_is_answered_in_words(name, run, as_tester):
    content, words = FILES[name]
    file = SimpleUploadedFile("record.csv", content)
    answer = as_tester.post(f"/runs/{run.pk}/records/", {"file": file})
    assert answer.status_code in {302, 422}, answer.status_code
    run_waiting()
    page = answer if answer.status_code == 422 else as_tester.get(f"/runs/{run.pk}/?at=record")
    assert page.status_code < 500
    assert re.search(words, words_of(page), re.IGNORECASE), words_of(page)[-3000:]
    run.refresh_from_db()
    assert run.verdict == ""
    assert not Evaluation.objects.filter(run=run).exists()
    kept = Record.objects.filter(run=run).first()
    assert (kept is None) == (answer.status_code == 422)
    if kept is not None:  # what was sent is not lost, whatever it is
        assert kept.state in {Record.State.REFUSED, Record.State.NEEDS_MAPPING}
        assert as_tester.get(f"/records/{kept.pk}/file/").getvalue() == content


def test_file_over_the_limit_is_refused(run, as_tester, settings):
    settings.UPLOAD_LIMIT_BYTES = 1000
    answer = as_tester.post(f"/runs/{run.pk}/records/", {"file": SimpleUploadedFile("r.csv", _lines({}))})
    assert answer.status_code == 422
    assert "larger than" in words_of(answer)
    assert Record.objects.count() == 0


def test_no_file_at_all(run, as_tester):
    answer = as_tester.post(f"/runs/{run.pk}/records/", {})
    assert answer.status_code == 422
    assert "Nothing was stored." in words_of(answer)


def test_path_in_a_file_name_is_only_a_name(run, as_tester, tmp_path, settings):
    file = io.BytesIO(_lines({}))
    file.name = "../../escape.csv"
    assert as_tester.post(f"/runs/{run.pk}/records/", {"file": file}).status_code == 302
    record = Record.objects.get(run=run)
    assert record.given_name == "escape.csv"
    assert record.path == f"records/{record.sha256[:2]}/{record.sha256}"
    assert not (settings.MEDIA_ROOT.parent / "escape.csv").exists()


def test_same_bytes_twice_are_stored_once(run, as_tester):
    for _ in range(2):
        as_tester.post(f"/runs/{run.pk}/records/", {"file": SimpleUploadedFile("r.csv", _lines({}))})
    assert Record.objects.filter(run=run).count() == 1


# Who enters what where (addresses with {order}, {unit}, {run}), and the words that answer it.
Entry = tuple[str, str, dict[str, Any], str]
ORDER = {"customer": "{customer}", "purchase_reference": "PO 1", "decision_rule": "simple_acceptance",
         "discharge_procedure": "agreed_practice"}  # fmt: skip
PLATE = {"serials": "SR-1", "highest_voltage_kv": "15.5", "lightning_impulse_kv": "110"}
AIR = {"temperature_c": "21", "pressure_kpa": "101", "relative_humidity_pct": "40", "version": "1"}
UNITS = "/orders/{order}/units/new/?equipment=series_reactor"
ENTRIES: dict[str, Entry] = {
    "order without a customer": ("tester", "/orders/new/", {**ORDER, "customer": ""}, r"required"),
    "order of nobody known": ("tester", "/orders/new/", {**ORDER, "customer": "999999"}, r"valid choice"),
    "order without a reference": ("tester", "/orders/new/", {**ORDER, "purchase_reference": "  "}, r"required"),
    "order with a very long reference": (
        "tester", "/orders/new/", {**ORDER, "purchase_reference": "x" * 500}, r"at most 120"),
    "order with an unknown rule": ("tester", "/orders/new/", {**ORDER, "decision_rule": "coin"}, r"valid choice"),
    "order with hold and witness at once": (
        "tester", "/orders/new/", {**ORDER, "hold_kinds": "partial_discharge", "witness_kinds": "partial_discharge"},
        r"not both"),
    "order wanted on no day": ("tester", "/orders/new/", {**ORDER, "wanted_on": "31 February"}, r"valid date"),
    "order with a null byte": ("tester", "/orders/new/", {**ORDER, "remarks": "a\x00b"}, r"[Nn]ull characters"),
    "units without a serial": ("tester", UNITS, {**PLATE, "serials": "\n \n"}, r"required|at least one serial"),
    "a serial twice": ("tester", UNITS, {**PLATE, "serials": "A1\nA1"}, r"twice"),
    "a thousand serials": (
        "tester", UNITS, {**PLATE, "serials": "\n".join(f"S{n}" for n in range(1000))}, r"enter at most"),
    "a rating in words": ("tester", UNITS, {**PLATE, "highest_voltage_kv": "fifteen"}, r"“fifteen” is not a number"),
    "a rating with thousands": ("tester", UNITS, {**PLATE, "highest_voltage_kv": "15,500"}, r"is not a number"),
    "a negative rating": ("tester", UNITS, {**PLATE, "highest_voltage_kv": "-15"}, r"-15"),
    "a rating beyond the world": ("tester", UNITS, {**PLATE, "highest_voltage_kv": "1e9"}, r"1200"),
    "an infinite rating": ("tester", UNITS, {**PLATE, "highest_voltage_kv": "inf"}, r"number"),
    "a unit from the future": ("tester", UNITS, {**PLATE, "received_on": "2999-01-01"}, r"has not come yet"),
    "a photograph that is none": ("tester", "/units/{unit}/photographs/new/", {"image": b"no picture"}, r"photograph"),
    "air hotter than any": (
        "tester", "/runs/{setup}/conditions/", {**AIR, "temperature_c": "999"}, r"outside -60 to 70"),
    "pressure in the wrong unit": (
        "tester", "/runs/{setup}/conditions/", {**AIR, "pressure_kpa": "1013"}, r"outside 50 to 115"),
    "humidity in words": (
        "tester", "/runs/{setup}/conditions/", {**AIR, "relative_humidity_pct": "dry"}, r"not a number"),
    "no charge injected": (
        "tester", "/runs/{setup}/charge-calibration/", {"injected_pc": "0", "reading": "9"}, r"above 0"),
    "negative noise": ("tester", "/runs/{setup}/background-noise/", {"noise_pc": "-1"}, r"at least 0"),
    "a scale of nothing": (
        "tester", "/runs/{setup}/voltage-scale/", {"reference_kv": "0", "reading_kv": "10"}, r"above 0"),
    "a confirmation of nothing known": ("tester", "/runs/{setup}/safety/", {"kind": "coffee"}, r"valid choice"),
    "stages opened too early": ("tester", "/runs/{setup}/open/", {}, r"Not confirmed yet: area clear"),
    "a stage that the plan has not": (
        "tester", "/runs/{run}/marks/", {"stage": "warm-up", "outcome": "held"}, r"no stage “warm-up”"),
    "an outcome nobody knows": (
        "tester", "/runs/{run}/marks/", {"stage": "prestress", "outcome": "fine"}, r"valid choice"),
    "an empty remark": ("tester", "/runs/{run}/remarks/", {"text": "   "}, r"required"),
    "a run given up without a reason": ("tester", "/runs/{run}/abandon/", {"abandon-reason": ""}, r"required"),
    "a signature before the findings": (
        "tester", "/runs/{run}/sign/", {"digest": "0" * 64, "password": "wrong"},
        r"Nothing is judged yet"),
    "an authorisation that ends before it begins": (
        "quality", "/authorisations/new/",
        {"user": "{tester}", "kind": "partial_discharge", "activity": "perform", "valid_from": "2026-05-01",
         "valid_until": "2026-04-01"}, r"before|after|later"),
    "a bay without a voltage": (
        "quality", "/bays/",
        {"name": "Bay 9", "source_kv": "0", "source_kva": "1", "frequency_hz": "50", "residual_discharge_pc": "1"},
        r"above 0|more than 0|greater|positive"),
    "an instrument without a mark": ("quality", "/instruments/new/", {"identifier": "", "serial": "1"}, r"required"),
    "an account with a short password": (
        "administrator", "/people/new/",
        {"email": "new@withstand.example", "name": "Nia New", "organisation": "{laboratory}", "roles": "tester",
         "password": "short"}, r"too short|at least 15"),
    "an account that is there already": (
        "administrator", "/people/new/",
        {"email": "TESTER@withstand.example", "name": "Nia New", "organisation": "{laboratory}", "roles": "tester",
         "password": ""}, r"already|taken|in use"),
    "a laboratory role for a customer": (
        "administrator", "/people/new/",
        {"email": "new@withstand.example", "name": "Nia New", "organisation": "{customer}", "roles": "tester",
         "password": ""}, r"laboratory"),
    "a numbering without a number": (
        "administrator", "/people/laboratory/",
        {"name": "Lab", "address": "x", "version": "1", "order_pattern": "O-{{year}}", "unit_pattern": "U-{{n}}",
         "run_pattern": "R-{{n}}", "certificate_pattern": "C-{{n}}"}, r"\{n\}"),
}  # fmt: skip


@pytest.fixture
def place(
    run, customer, tester, second_tester, quality_manager, administrator, laboratory_company
) -> Callable[[str], str]:
    """Return a function that fills the planted things into an address or a value."""
    setup = Run.objects.create(
        number="R-2026-0778",
        step=run.step,
        arrangement=run.arrangement,
        bay=run.bay,
        operator=tester,
        second_person=second_tester,
        started_at=world.NOW,
    )
    unit = run.step.plan.unit
    things = {
        "run": run.pk, "setup": setup.pk, "unit": unit.pk, "order": unit.order_id, "tester": tester.pk,
        "customer": customer.organisation_id, "laboratory": laboratory_company.pk,
    }  # fmt: skip
    return lambda text: text.format(**things)


@pytest.mark.parametrize("name", ENTRIES)
def test_wrong_entry_is_answered_in_words(name, place, tester, quality_manager, administrator):
    who, path, sent, words = ENTRIES[name]
    client = Client()
    client.force_login({"tester": tester, "quality": quality_manager, "administrator": administrator}[who])
    values = {
        key: SimpleUploadedFile("p.jpg", value) if isinstance(value, bytes) else place(value)
        for key, value in sent.items()
    }
    before = rows()
    answer = client.post(place(path), values)
    assert answer.status_code in {200, 400, 409, 422}, f"{answer.status_code} {getattr(answer, 'url', '')}"
    assert re.search(words, words_of(answer)), words_of(answer)[:3000]
    assert rows() == before


@pytest.mark.parametrize(
    "path",
    [
        "/orders/?page=abc",
        "/orders/?page=-1",
        "/orders/?q=%00",
        "/units/?equipment=nonsense",
        "/units/?q=" + "x" * 5000,
        "/search/?q=%25%27%22%3B--",
        "/search/?q=%00",
        "/instruments/?board=nonsense&quantity=x",
        "/certificates/?page=99999999999999999999",
        "/runs/new/?arrangement=abc",
        "/runs/new/?arrangement=99999999999999999999999",
        "/runs/999999999999999999999999/",
        "/orders/99999999999999999999999999/",
    ],
)
def test_odd_address_is_no_server_error(path, run, as_tester):
    assert as_tester.get(path).status_code in {200, 400, 404}
