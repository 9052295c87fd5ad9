"""Whether an instrument was in calibration on the day: each answer."""

from __future__ import annotations

from datetime import date

import pytest

from equipment.metrology.validity import CalibrationPeriod, OutOfService, board_class, calibration_status

YEAR_2025 = CalibrationPeriod(date(2025, 3, 1), date(2026, 2, 28), reference="2025")
YEAR_2026 = CalibrationPeriod(date(2026, 2, 10), date(2027, 2, 9), reference="2026")


@pytest.mark.parametrize(
    ("calibrations", "on", "code", "days_left"),
    [
        ([YEAR_2025], date(2025, 3, 1), "valid", 364),
        ([YEAR_2025], date(2026, 2, 28), "valid", 0),
        ([YEAR_2025], date(2026, 3, 1), "expired", -1),
        ([YEAR_2025], date(2025, 2, 28), "calibrated_later", None),
        ([], date(2025, 3, 1), "never_calibrated", None),
        ([YEAR_2025, YEAR_2026], date(2026, 3, 1), "valid", 345),
        ([YEAR_2025, YEAR_2026], date(2026, 2, 1), "valid", 27),
    ],
)
def test_code_and_days_left(calibrations, on, code, days_left):
    status = calibration_status(calibrations, on)
    assert (status.code, status.days_left, status.is_valid) == (code, days_left, code == "valid")


def test_a_later_failed_calibration_ends_an_earlier_good_one():
    failed = CalibrationPeriod(date(2025, 9, 1), date(2026, 8, 31), passed=False)
    status = calibration_status([failed, YEAR_2025], date(2025, 9, 2))
    assert (status.is_valid, status.code) == (False, "failed_calibration")
    assert status.reason == "The calibration of 1 Sep 2025 found the instrument unfit for use."
    assert calibration_status([failed, YEAR_2025], date(2025, 8, 31)).code == "valid"


def test_of_two_on_one_day_the_failed_one_counts():
    failed = CalibrationPeriod(date(2025, 3, 1), date(2027, 2, 28), passed=False)
    assert calibration_status([YEAR_2025, failed], date(2025, 4, 1)).code == "failed_calibration"


def test_of_two_good_ones_on_one_day_the_shorter_counts():
    longer = CalibrationPeriod(date(2025, 3, 1), date(2027, 2, 28))
    assert calibration_status([longer, YEAR_2025], date(2025, 4, 1)).due_on == date(2026, 2, 28)


@pytest.mark.parametrize(
    ("on", "code"),
    [
        (date(2025, 4, 30), "valid"),
        (date(2025, 5, 1), "quarantined"),
        (date(2025, 5, 9), "quarantined"),
        (date(2025, 5, 10), "valid"),
    ],
)
def test_quarantine_lasts_until_the_day_it_came_back(on, code):
    quarantine = OutOfService("quarantined", date(2025, 5, 1), date(2025, 5, 10), "dropped")
    assert calibration_status([YEAR_2025], on, out_of_service=[quarantine]).code == code


def test_retirement_outweighs_quarantine_and_names_its_reason():
    status = calibration_status(
        [YEAR_2025],
        date(2025, 6, 1),
        out_of_service=[
            OutOfService("quarantined", date(2025, 5, 1)),
            OutOfService("retired", date(2025, 5, 20), reason="beyond repair"),
        ],
    )
    assert (status.code, status.is_valid, status.days_left) == ("retired", False, 272)
    assert status.reason == "The instrument is retired since 20 May 2025 (beyond repair)."


def test_an_indicator_needs_no_calibration_but_may_be_in_repair():
    assert calibration_status([], date(2025, 6, 1), needs_calibration=False).code == "not_required"
    repair = OutOfService("in_repair", date(2025, 6, 1))
    status = calibration_status([], date(2025, 6, 1), needs_calibration=False, out_of_service=[repair])
    assert (status.code, status.is_valid) == ("in_repair", False)


@pytest.mark.parametrize(
    ("on", "sentence"),
    [
        (date(2026, 3, 1), "The calibration ended on 28 Feb 2026, 1 day before."),
        (date(2026, 3, 2), "The calibration ended on 28 Feb 2026, 2 days before."),
        (date(2025, 2, 1), "The first calibration is of 1 Mar 2025, after the day of use, 1 Feb 2025."),
        (date(2025, 3, 2), "In calibration: performed 1 Mar 2025, due 28 Feb 2026."),
    ],
)
def test_reason_in_words(on, sentence):
    assert calibration_status([YEAR_2025], on).reason == sentence


@pytest.mark.parametrize(
    ("on", "board"),
    [
        (date(2025, 12, 29), "fine"),  # 61 days before 2026-02-28
        (date(2025, 12, 30), "due_soon"),  # 60 days
        (date(2026, 2, 28), "due_soon"),
        (date(2026, 3, 1), "overdue"),
        (date(2025, 2, 1), "overdue"),
    ],
)
def test_board(on, board):
    assert board_class(calibration_status([YEAR_2025], on)) == board


def test_board_of_what_is_not_in_use():
    quarantine = OutOfService("quarantined", date(2025, 5, 1))
    status = calibration_status([YEAR_2025], date(2026, 5, 1), out_of_service=[quarantine])
    assert board_class(status) == "out_of_service"
    assert board_class(calibration_status([], date(2026, 5, 1), needs_calibration=False)) == "fine"
    failed = CalibrationPeriod(date(2025, 9, 1), date(2026, 8, 31), passed=False)
    assert board_class(calibration_status([failed], date(2025, 9, 2))) == "overdue"


def test_impossible_dates_are_refused():
    with pytest.raises(ValueError, match="Due 2025-01-01 lies before the calibration of 2025-01-02"):
        CalibrationPeriod(date(2025, 1, 2), date(2025, 1, 1))
    with pytest.raises(ValueError, match="Back in service 2025-01-01 lies before 2025-01-02"):
        OutOfService("retired", date(2025, 1, 2), date(2025, 1, 1))
    with pytest.raises(ValueError, match="at least 0 days"):
        board_class(calibration_status([], date(2025, 1, 1)), horizon_days=-1)
