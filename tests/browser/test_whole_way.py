"""From a new order to the certificate in the customer's hands, with everybody in a browser of their own."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.browser import work
from tests.browser.files import DISCHARGE, WITHSTAND, record_file

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_from_order_to_downloaded_certificate(enter, site, tmp_path):
    tester, second, approver = enter("tester"), enter("second"), enter("approver")
    order = work.enter_order(tester, "FP-9001", look=True)
    work.review_contract(approver, order, look=True)
    unit = work.add_unit(tester, order, "SR-9001", look=True)
    work.adopt_plan(tester, unit, look=True)
    withstand = work.perform(tester, second, unit, "withstand", record_file(tmp_path, WITHSTAND), "Conforms")
    work.approve(approver, withstand, "Conforms", "It stands.", look="review-withstand")
    discharge = work.perform(tester, second, unit, "discharge", record_file(tmp_path, DISCHARGE), "Conforms", look=True)
    link, code = work.invite(tester, discharge, site.var / "mail", look=True)
    work.witness(enter(""), link, code, look=True)
    work.approve(approver, discharge, "Conforms", "It stands.", look="review-discharge")
    work.certify(approver, unit, look=True)
    customer = enter("customer")
    check_certificate(work.download(customer, "FP-9001", "SR-9001", tmp_path, look=True))
    tester.go("/today/")
    tester.look("today")


def check_certificate(path: Path) -> None:
    """Read the PDF back: what ISO/IEC 17025 7.8.2.1 asks for on it, and page x of y on each page."""
    pages = [page.extract_text() for page in PdfReader(path).pages]
    assert 2 <= len(pages) <= 8
    for place, text in enumerate(pages, start=1):
        assert re.search(rf"\b{place} of {len(pages)}\b", text), text
    whole = re.sub(r"\s+", " ", " ".join(pages))
    for words in ("SR-9001", "FP-9001", "Fennmark Power (invented)", "Tove Brandt", "Amara Voss", "Wanda Keller"):
        assert words in whole, words
    # The levels of the trade's practice, and that this is not a draft.
    for words in ("50", "10.75", "Conforms", "D-100"):
        assert words in whole, words
    assert "draft" not in whole.lower()
