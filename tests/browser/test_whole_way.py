"""From a new order to the certificate in the customer's hands, with everybody in a browser of their own."""

from __future__ import annotations

import pytest

from tests.browser import work
from tests.browser.files import DISCHARGE, WITHSTAND, record_file

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_from_order_to_downloaded_certificate(enter, tmp_path):
    tester, second, approver = enter("tester"), enter("second"), enter("approver")
    order = work.enter_order(tester, "FP-9001", look=True)
    work.review_contract(approver, order, look=True)
    unit = work.add_unit(tester, order, "SR-9001", look=True)
    work.adopt_plan(tester, unit, look=True)
    withstand = work.perform(tester, second, unit, "withstand", record_file(tmp_path, WITHSTAND), "Conforms")
    work.approve(approver, withstand, "Conforms", "It stands.", look="review-withstand")
    discharge = work.perform(tester, second, unit, "discharge", record_file(tmp_path, DISCHARGE), "Conforms", look=True)
    work.approve(approver, discharge, "Conforms", "It stands.", look="review-discharge")
    work.certify(approver, unit, look=True)
