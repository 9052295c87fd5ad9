"""The PDF holds the items of ISO/IEC 17025 7.8.2.1 and what belongs on every page, in the same bytes each time."""

from __future__ import annotations

import re
from io import BytesIO

import pytest
from django.template.loader import render_to_string
from pypdf import PdfReader

from records.certificates.composition import compose, weasyprint
from records.certificates.document import build_document, document_digest
from records.certificates.pictures import pattern_key, pictures_of
from records.certificates.readiness import current_plan, settled_arrangements
from records.models import Evaluation
from tests.integration.certificates import world

pytestmark = pytest.mark.django_db
ISSUE = {
    "printed_name": "Amara Voss",
    "capacity": "Approver",
    "meaning": "I authorise the issue.",
    "signed_at": "2026-03-04T08:15:30.000000Z",
    "digest": "0" * 64,
}


@pytest.fixture
def document(unit, runs, tester, second_tester, approver, quality_manager):
    """Return the content of a certificate with an override and a concession."""
    use = runs[0].instruments.get(instrument__identifier="HVD-03")
    use.is_valid, use.status_reason, use.overridden_by = False, "overdue since 1 March 2026", quality_manager
    use.overridden_at, use.override_reason = world.NOW, "Checked against the standard divider."
    use.save()
    world.conceded(world.run_of(runs[5].arrangement, tester, second_tester, approver, is_good=False, day=1), approver)
    plan = current_plan(unit)
    return build_document(
        number="C-2026-0077", unit=unit, plan=plan, settled=settled_arrangements(plan), replaces=None, reason=""
    )


def _set(document, issue):
    return compose(document=document, digest=document_digest(document), issue=issue, pictures=pictures_of(document))


def _plain(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def test_the_issued_form_in_full(document):
    pdf = _set(document, ISSUE)
    assert pdf == _set(document, ISSUE)
    reader = PdfReader(BytesIO(pdf))
    pages = [_plain(page.extract_text()) for page in reader.pages]
    count = len(pages)
    assert 6 <= count <= 14
    for number, text in enumerate(pages, start=1):
        assert "Certificate C-2026-0077" in text
        assert f"Page {number} of {count}" in text
        assert "The results relate only to the items tested." in text
        assert "DRAFT" not in text
    assert "End of certificate C-2026-0077" in pages[-1]
    whole = " ".join(pages)
    assert whole.count("End of certificate") == 1
    for item in (
        "Test certificate",  # a
        "Quayside Insulation Works, High-Voltage Laboratory (invented)", "4 Slipway Road",  # b
        "Bay 2",  # c
        "Fennmark Power (invented)",  # e
        "IEEE C37.20.3",  # f
        "Metal-enclosed switchgear", "MES-15-0042", "Clean, no transport damage seen.",  # g
        "2 March 2026",  # h
        "3 March 2026",  # i
        "4 March 2026",  # j
        "Simple acceptance (ILAC-G8, w = 0)",
        "although: overdue since 1 March 2026", "Checked against the standard divider.",  # n
        "concession by the customer. Accepted for the outdoor bay",
        "Amara Voss", "4 March 2026, 08:15:30 UTC",  # o
        "21.4 °C, 100.9 kPa, 41 % relative humidity",  # 7.8.3
        "HVD-03", "15 January 2025", "1 November 2026", "Used by override",
        "Operator Tove Brandt, second person Sami Orlov",
        "does not conform to every limit",
        "common practice, no source", "from memory",
        "Not part of this certificate", "mechanical operation (IEEE C37.20.3 2013, lists of tests of the document",
    ):  # fmt: skip
        assert item in whole, item
    assert "The item conforms" not in whole
    assert document_digest(document) in whole.replace(" ", "")
    # Results with units and uncertainty (m): what the run's own rows say, rounded as the row's uncertainty asks.
    found = next(row for row in document["runs"][3]["findings"] if row["quantity"] == "apparent_charge_pc")
    assert re.search(rf"Apparent charge Measurement {found['value']:.2f} ± \d\.\d\d? pC 2 at most 100 pC unit", whole)


def test_a_draft_says_so_on_every_page(document):
    reader = PdfReader(BytesIO(_set(document, None)))
    assert all("DRAFT, not issued" in page.extract_text() for page in reader.pages)
    first = _plain(reader.pages[0].extract_text())
    assert "Nobody has signed this draft." in first


def test_fonts_and_pictures_are_within_the_file(document):
    reader = PdfReader(BytesIO(_set(document, ISSUE)))
    names = set()
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            descendant = font.get_object()["/DescendantFonts"][0].get_object()
            assert "/FontFile2" in descendant["/FontDescriptor"].get_object()
            names.add(str(descendant["/BaseFont"]).split("+")[-1])
    assert any(name.startswith("Source-Sans-3") for name in names)
    assert not any(page.images for page in reader.pages), "the pictures are vectors, not pixels"
    assert len(pictures_of(document)) == 6


def test_an_amendment_names_what_it_replaces_and_why(document):
    amended = {
        **document,
        "number": "C-2026-0078",
        "replaces": {"number": "C-2026-0077", "issued_at": "2026-03-04T08:15:30Z", "reason": "Serial corrected."},
    }
    first = _plain(PdfReader(BytesIO(_set(amended, ISSUE))).pages[0].extract_text())
    assert "This certificate replaces C-2026-0077, issued 4 March 2026, which is no longer valid." in first
    assert "Reason: Serial corrected." in first


def test_the_typesetter_fetches_nothing(tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("not for print", encoding="utf-8")
    fetcher = weasyprint.URLFetcher(allowed_protocols=("data",), fail_on_errors=True)
    with pytest.raises(Exception, match=r"(?i)protocol|not allowed|disallowed"):
        fetcher.fetch(secret.as_uri())


def test_counts_are_whole_and_what_has_no_limit_is_reported(document):
    run = next(row for row in document["runs"] if row["title"].lower().startswith("partial"))
    page = render_to_string("certificates/parts/run.html", {"run": run, "pictures": {}})
    rows = re.findall(r"<tr>.*?</tr>", page, flags=re.DOTALL)
    told = next(row for row in rows if "Inception voltage" in row)
    assert "reported only" in told
    assert '<td class="word">reported</td>' in told
    count = next(row for row in rows if "Disruptive discharges" in row)
    assert '<td class="n">0</td>' in count
    assert "Conforms" in count
    held = next(row for row in rows if "Time held" in row)
    assert '<td class="word">valid</td>' in held


@pytest.mark.parametrize(("told", "words"), [({}, ""), ({"has_four_states": True}, "<br>conditional pass")])
def test_a_statement_of_four_states_stands_below_the_verdict_where_it_was_agreed(document, told, words):
    run = next(row for row in document["runs"] if row["title"].lower().startswith("partial"))
    rows = [{**row, "verdict": "inconclusive", "statement": "conditional_pass", **told} for row in run["findings"][:1]]
    page = render_to_string("certificates/parts/run.html", {"run": {**run, "findings": rows}, "pictures": {}})
    cells = re.findall(r'<td class="word">.*?</td>', page, flags=re.DOTALL)
    assert [re.sub(r"\s+(?=<)", "", cell).endswith(f"Inconclusive</span>{words}</td>") for cell in cells] == [True]


def test_the_pattern_of_pulses_stands_below_the_record(document):
    number = document["runs"][0]["number"]
    pictures = {number: "data:image/svg+xml;base64,AA", pattern_key(number): "data:image/svg+xml;base64,BB"}
    page = render_to_string("certificates/parts/run.html", {"run": document["runs"][0], "pictures": pictures})
    assert page.index("base64,AA") < page.index("base64,BB")
    assert f"Pulses of run {number} during the measuring hold" in page
    assert "Pulses of run" not in render_to_string(
        "certificates/parts/run.html", {"run": document["runs"][0], "pictures": {}}
    )


def test_an_evaluation_with_a_pattern_gives_its_picture(document):
    row = Evaluation.objects.get(pk=document["runs"][0]["evaluation"]["id"])
    cells = {"cells": [[3, 4, 5]], "phase_cells": 120, "charge_cells": 80, "bottom_pc": 0.0, "top_pc": 100.0}
    row.document["details"] = {"pattern": {**cells, "pulses": 5, "voltage_kv": 18.71, "limit_pc": 100.0}}
    Evaluation.objects.filter(pk=row.pk).update(document=row.document)
    pictures = pictures_of(document)
    number = document["runs"][0]["number"]
    assert "18.71 kV r.m.s." in pictures[pattern_key(number)]
    assert len(pictures) == len(document["runs"]) + 1
