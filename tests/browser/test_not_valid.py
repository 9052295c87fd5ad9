"""A test that was not a valid test says nothing about the unit and is repeated."""

from __future__ import annotations

import pytest

from tests.browser import work
from tests.browser.files import WITHSTAND, record_file

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_short_hold_is_not_valid_and_is_repeated(enter, tmp_path):
    tester, second, approver = enter("tester"), enter("second"), enter("approver")
    order = work.enter_order(tester, "FP-9003")
    work.review_contract(approver, order)
    unit = work.add_unit(tester, order, "SR-9003")
    work.adopt_plan(tester, unit)
    short = record_file(tmp_path, WITHSTAND, "short")
    run = work.perform(tester, second, unit, "withstand", short, "Not a valid test")
    consequence = "It was no valid test and says nothing about the unit"
    work.approve(approver, run, "Not a valid test", consequence, look="review-not-valid")
    approver.go("/nonconformances/")
    assert approver.page.get_by_text("SR-9003").count() == 0
    repeat = work.perform(
        tester, second, unit, "withstand", record_file(tmp_path, WITHSTAND, seed=7), "Conforms", repeat=True
    )
    work.approve(approver, repeat, "Conforms", "It stands.")
