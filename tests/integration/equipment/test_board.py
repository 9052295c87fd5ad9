"""The board: each instrument in the class its dates and its state call for. Expected days are counted by hand."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment.charts import AHEAD_DAYS, BACK_DAYS, DueBar, due_bar
from equipment.models import Instrument, MeasuringSystem
from equipment.selectors import instrument_board, instrument_status, instruments_due, system_status
from equipment.services import assign_system, change_state, end_system
from tests.integration.equipment.inventory import TODAY, calibrated, instrument, many

pytestmark = pytest.mark.usefixtures("_on_the_day")


@pytest.fixture
def _on_the_day():
    with time_machine.travel("2026-11-25T09:00:00Z", tick=False):
        yield


@pytest.fixture
def shelf(quality_manager) -> None:
    """Enter one instrument of each kind."""
    by = quality_manager
    for identifier, days in [("FINE", 61), ("SOON", 60), ("LAST-DAY", 0), ("OVER", -1)]:
        calibrated(instrument(by, identifier, location="Bay 1"), by, due_in_days=days)
    instrument(by, "NEVER", quantity="charge")
    calibrated(instrument(by, "UNFIT"), by, verdict="outside")
    for state in ("quarantined", "in_calibration", "retired"):
        made = instrument(by, state.upper())
        calibrated(made, by)
        change_state(instrument=made, version=1, state=state, on=date(2026, 11, 2), reason="dropped", by=by)


CLASSES = {
    "OVER": "overdue",
    "NEVER": "overdue",
    "UNFIT": "overdue",
    "LAST-DAY": "due_soon",
    "SOON": "due_soon",
    "FINE": "fine",
    "IN_CALIBRATION": "out_of_service",
    "QUARANTINED": "out_of_service",
    "RETIRED": "out_of_service",
}


@pytest.mark.usefixtures("shelf")
def test_each_instrument_is_in_its_class_and_the_urgent_ones_first(tester):
    board = instrument_board(tester, TODAY)
    assert {row.instrument.identifier: row.board for row in board.rows} == CLASSES
    assert board.counts == {"overdue": 3, "due_soon": 2, "fine": 1, "out_of_service": 3}
    assert [row.instrument.identifier for row in board.rows][:4] == ["NEVER", "OVER", "UNFIT", "LAST-DAY"]


@pytest.mark.usefixtures("shelf")
def test_reasons_are_in_words(tester):
    reasons = {row.instrument.identifier: row.status.reason for row in instrument_board(tester, TODAY).rows}
    assert reasons["OVER"] == "The calibration ended on 24 Nov 2026, 1 day before."
    assert reasons["QUARANTINED"] == "The instrument is quarantined since 2 Nov 2026 (dropped)."
    assert reasons["IN_CALIBRATION"] == "The instrument is away for calibration since 2 Nov 2026 (dropped)."
    assert reasons["NEVER"] == "The instrument was never calibrated."


@pytest.mark.usefixtures("shelf")
def test_before_it_was_quarantined_it_was_in_use():
    quarantined = Instrument.objects.for_list().get(identifier="QUARANTINED")
    assert instrument_status(quarantined, date(2026, 11, 1)).is_valid
    assert instrument_status(quarantined, date(2026, 11, 2)).code == "quarantined"


@pytest.mark.usefixtures("shelf")
def test_the_board_is_narrowed_and_the_horizon_moved(tester):
    soon = instrument_board(tester, TODAY, board="due_soon")
    assert [row.instrument.identifier for row in soon.rows] == ["LAST-DAY", "SOON"]
    assert soon.counts["overdue"] == 3
    assert instrument_board(tester, TODAY, 61).counts["due_soon"] == 3
    assert [row.instrument.identifier for row in instrument_board(tester, TODAY, quantity="charge").rows] == ["NEVER"]
    assert len(instrument_board(tester, TODAY, text="bay 1").rows) == 4


@pytest.mark.usefixtures("shelf")
def test_what_is_due_is_what_is_overdue_or_soon(tester):
    due = [row.instrument.identifier for row in instruments_due(tester, TODAY)]
    assert due == ["NEVER", "OVER", "UNFIT", "LAST-DAY", "SOON"]


@pytest.mark.usefixtures("shelf")
@pytest.mark.parametrize("who", ["customer", "witness", "administrator"])
def test_outside_the_laboratory_there_is_no_board(request, who):
    board = instrument_board(request.getfixturevalue(who), TODAY)
    assert (list(board.rows), set(board.counts.values())) == ([], {0})


def test_days_are_in_words(quality_manager, tester):
    for identifier, days in [("A", 1), ("B", 45), ("C", 0), ("D", -1), ("E", -12)]:
        calibrated(instrument(quality_manager, identifier), quality_manager, due_in_days=days)
    words = {row.instrument.identifier: row.days_in_words for row in instrument_board(tester, TODAY).rows}
    assert words == {"A": "1 day left", "B": "45 days left", "C": "0 days left", "D": "1 day over", "E": "12 days over"}


@pytest.mark.parametrize("count", [1, 7, 100])
def test_the_board_asks_the_database_as_often_for_one_as_for_many(quality_manager, count):
    many(quality_manager, range(count))
    assert quality_manager.is_laboratory
    with CaptureQueriesContext(connection) as queries:
        assert len(list(instrument_board(quality_manager, TODAY).rows)) == count
    assert len(queries) == 3


def test_a_system_is_as_good_as_its_worst_instrument(quality_manager):
    by = quality_manager
    good, late = instrument(by, "GOOD"), instrument(by, "LATE")
    calibrated(good, by)
    calibrated(late, by, due_in_days=3)
    said = {"name": "Chain", "quantity": "voltage", "relative_uncertainty_pct": 3.0, "assigned_on": TODAY}
    assign_system(**said, instruments=[good, late], by=by)

    def status(on: date):
        return system_status(MeasuringSystem.objects.for_list().get(), on)

    assert (status(TODAY).is_valid, status(TODAY).reasons) == (True, ())
    after = TODAY + timedelta(days=4)
    assert status(after).reasons == ("LATE: The calibration ended on 28 Nov 2026, 1 day before.",)
    assert status(date(2026, 11, 24)).reasons == ("Chain was assigned only on 25 Nov 2026.",)
    end_system(system=MeasuringSystem.objects.get(), on=TODAY, reason="changed", by=by)
    assert status(TODAY).reasons == ("Chain ended on 25 Nov 2026.",)


def test_the_bar_is_cut_at_both_ends_of_the_line():
    day = timedelta(days=1)
    assert due_bar(TODAY - 20 * day, TODAY + 30 * day, TODAY) == DueBar(start=100, length=50)
    assert due_bar(TODAY - 900 * day, TODAY + 900 * day, TODAY) == DueBar(start=0, length=BACK_DAYS + AHEAD_DAYS)
    assert due_bar(None, None, TODAY).length == 0
