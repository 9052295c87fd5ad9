"""A unit that does not conform: nonconformance, disposition, retest and certificate."""

from __future__ import annotations

import pytest

from tests.browser import work
from tests.browser.files import DISCHARGE, WITHSTAND, record_file

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_failing_unit_is_retested_and_certified(enter, tmp_path):
    tester, second, approver = enter("tester"), enter("second"), enter("approver")
    order = work.enter_order(tester, "FP-9002")
    work.review_contract(approver, order)
    unit = work.add_unit(tester, order, "SR-9002")
    work.adopt_plan(tester, unit)
    run = work.perform(tester, second, unit, "withstand", record_file(tmp_path, WITHSTAND, seed=3), "Conforms")
    work.approve(approver, run, "Conforms", "It stands.")
    failed = record_file(tmp_path, DISCHARGE, "fails")
    run = work.perform(tester, second, unit, "discharge", failed, "Does not conform")
    work.approve(approver, run, "Does not conform", "A nonconformance is open", look="review-failed")
    work.dispose(approver, "SR-9002", look=True)
    sound = record_file(tmp_path, DISCHARGE, seed=5)
    retest = work.perform(tester, second, unit, "discharge", sound, "Conforms", repeat=True)
    work.approve(approver, retest, "Conforms", "It stands.")
    work.certify(approver, unit)
