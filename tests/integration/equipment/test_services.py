"""What is done with instruments: stored, refused in words, told in the ledger."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
import time_machine
from django.core.exceptions import PermissionDenied, ValidationError

from equipment.models import Calibration, CalibrationPoint, Instrument, MeasuringSystem
from equipment.services import (
    Point,
    assign_system,
    change_state,
    edit_instrument,
    end_system,
    enter_instrument,
    remember_columns,
)
from equipment.services.lifecycle import TRANSITIONS, next_states
from labsite.ledger.models import Entry
from labsite.ledger.services import StaleEdit
from tests.integration.equipment.inventory import BASE, TODAY, calibrated, instrument

pytestmark = pytest.mark.usefixtures("_on_the_day")
POINTS = (Point("as_found", "kV", 50.0, 50.4, 0.3), Point("as_left", "kV", 50.0, 50.1, 0.3))


@pytest.fixture
def _on_the_day():
    with time_machine.travel("2026-11-25T09:00:00Z", tick=False):
        yield


def last_entry() -> Entry:
    return Entry.objects.order_by("-sequence").first()


def test_an_instrument_is_entered_and_told(quality_manager):
    made = instrument(quality_manager)
    entry = last_entry()
    assert (entry.action, entry.subject_id) == ("equipment.enter_instrument", str(made.pk))
    assert entry.changes["serial"] == [None, "S-1"]


def test_an_identifier_is_taken_whatever_its_case(quality_manager):
    instrument(quality_manager, "HV-01")
    with pytest.raises(ValidationError, match="already an instrument hv-01"):
        instrument(quality_manager, "hv-01")
    other = instrument(quality_manager, "HV-02")
    with pytest.raises(ValidationError, match="already an instrument HV-01"):
        edit_instrument(instrument=other, version=1, changes={"identifier": "HV-01"}, by=quality_manager)
    assert Instrument.objects.count() == 2


def test_an_instrument_measures_a_known_quantity(quality_manager):
    with pytest.raises(ValidationError) as refusal:
        instrument(quality_manager, quantity="weather")
    assert list(refusal.value.error_dict) == ["quantity"]
    with pytest.raises(ValueError, match="not edited by state"):
        enter_instrument(identifier="X", **BASE, state="retired", by=quality_manager)
    assert Instrument.objects.count() == 0


def test_an_edit_is_told_with_both_values_and_a_stale_one_refused(quality_manager):
    made = instrument(quality_manager)
    edited = edit_instrument(instrument=made, version=1, changes={"location": "Bay 2"}, by=quality_manager)
    assert (edited.location, edited.version) == ("Bay 2", 2)
    assert last_entry().changes == {"location": ["", "Bay 2"]}
    with pytest.raises(StaleEdit) as stale:
        edit_instrument(instrument=made, version=1, changes={"location": "Bay 3"}, by=quality_manager)
    assert (stale.value.current, stale.value.yours) == ({"location": "Bay 2"}, {"location": "Bay 3"})
    assert Instrument.objects.get().location == "Bay 2"


STATES = list(Instrument.State)


@pytest.mark.parametrize("new", STATES)
@pytest.mark.parametrize("old", STATES)
def test_every_move_is_in_the_table_or_refused(quality_manager, old, new):
    made = instrument(quality_manager)
    Instrument.objects.filter(pk=made.pk).update(state=old)

    def move() -> Instrument:
        by = quality_manager
        return change_state(instrument=made, version=1, state=new, on=TODAY, reason="dropped", by=by)

    if new in TRANSITIONS[old]:
        assert (move().state, move_entry().reason) == (new, "dropped")
    else:
        with pytest.raises(ValidationError, match="cannot go on so"):
            move()
        assert Instrument.objects.get().state == old


def move_entry() -> Entry:
    return Entry.objects.get(action="equipment.change_state")


def test_a_retired_instrument_stays_retired():
    assert next_states("retired") == []
    assert [value for value, _ in next_states("in_use")] == ["in_calibration", "quarantined", "retired"]


def test_a_move_needs_a_reason_and_the_latest_version(quality_manager):
    made = instrument(quality_manager)
    with pytest.raises(ValidationError, match="Say why"):
        change_state(instrument=made, version=1, state="retired", on=TODAY, reason="  ", by=quality_manager)
    edit_instrument(instrument=made, version=1, changes={"location": "Bay 2"}, by=quality_manager)
    with pytest.raises(StaleEdit):
        change_state(instrument=made, version=1, state="retired", on=TODAY, reason="old", by=quality_manager)
    assert Instrument.objects.get().state == "in_use"


def test_a_calibration_is_entered_with_its_points_and_one_entry(quality_manager):
    made = instrument(quality_manager)
    stored = calibrated(made, quality_manager, points=POINTS)
    assert [(point.moment, point.reading) for point in stored.points.all()] == [("as_found", 50.4), ("as_left", 50.1)]
    entry = last_entry()
    assert (entry.action, entry.subject_type, entry.subject_id) == (
        "equipment.enter_calibration",
        "equipment.instrument",
        str(made.pk),
    )
    assert len(entry.changes["points"][1]) == 2
    assert Entry.objects.count() == 2


BAD = [
    ({"calibrated_on": TODAY + timedelta(days=1)}, "has not come yet"),
    ({"due_on": date(2020, 1, 1)}, "must lie after"),
    ({"relative_uncertainty_pct": 0.0}, "above zero"),
    ({"relative_uncertainty_pct": float("nan")}, "above zero"),
    ({"coverage_factor": -2.0}, "above zero"),
    ({"verdict": "splendid"}, "not a valid choice"),
    ({"certificate_number": " "}, "cannot be blank"),
    ({"points": (*POINTS, Point("later", "kV", 1.0, 1.0, 0.1))}, "Point 3 is neither as found nor as left"),
    ({"points": (Point("as_left", r"\kilogram\metre\second", 1.0, 1.0, 0.1),)}, "Point 1 has the unit “"),
    ({"points": (Point("as_left", " ", 1.0, 1.0, 0.1),)}, "state it in 1 to 12 characters"),
    ({"points": (Point("as_left", "kV", float("inf"), 1.0, 0.1),)}, "Point 1 has a reference or a reading"),
    ({"points": (Point("as_left", "kV", 1.0, 1.0, 0.0),)}, "Point 1 needs an expanded uncertainty above zero"),
]


@pytest.mark.parametrize(("changed", "words"), BAD)
def test_a_wrong_calibration_is_refused_whole(quality_manager, changed, words):
    made = instrument(quality_manager)
    with pytest.raises(ValidationError) as refusal:
        calibrated(made, quality_manager, **{"points": POINTS, **changed})
    assert words in " ".join(refusal.value.messages)
    assert (Calibration.objects.count(), CalibrationPoint.objects.count(), Entry.objects.count()) == (0, 0, 1)


def test_a_certificate_is_entered_once(quality_manager):
    made = instrument(quality_manager)
    calibrated(made, quality_manager)
    with pytest.raises(ValidationError, match="K-1 is entered already"):
        calibrated(made, quality_manager, number=" K-1 ")
    assert Calibration.objects.count() == 1


def system(by, *items, **values) -> MeasuringSystem:
    said = {"name": "Charge chain A", "quantity": "charge", "relative_uncertainty_pct": 5.0, "assigned_on": TODAY}
    return assign_system(**{**said, **values}, instruments=items, by=by)


def test_a_system_is_assigned_and_ended(quality_manager):
    first, second = instrument(quality_manager, "HV-01"), instrument(quality_manager, "PD-01", quantity="charge")
    made = system(quality_manager, first, second, first)
    assert [part.instrument.identifier for part in made.components.order_by("pk")] == ["HV-01", "PD-01"]
    assert last_entry().changes["instruments"] == [None, ["HV-01", "PD-01"]]
    assert end_system(system=made, on=TODAY, reason="new amplifier", by=quality_manager).ended_on == TODAY
    assert (last_entry().action, last_entry().reason) == ("equipment.end_system", "new amplifier")


def test_a_wrong_system_is_refused(quality_manager):
    item = instrument(quality_manager)
    for items, changed in [((), {}), ((item,), {"relative_uncertainty_pct": 0}), ((item,), {"scale_factor": 0})]:
        with pytest.raises(ValidationError):
            system(quality_manager, *items, **changed)
    made = system(quality_manager, item)
    with pytest.raises(ValidationError, match="already exists"):
        system(quality_manager, item)
    with pytest.raises(ValidationError, match="cannot end before"):
        end_system(system=made, on=TODAY - timedelta(days=1), reason="x", by=quality_manager)
    assert MeasuringSystem.objects.get().ended_on is None


def test_a_tester_may_leave_the_mapping_of_columns_for_next_time(quality_manager, tester):
    made = instrument(quality_manager)
    kept = remember_columns(instrument=made, column_map={"time_s": "T"}, by=tester)
    remember_columns(instrument=made, column_map={"time_s": "T"}, by=tester)
    assert (kept.column_map, kept.version) == ({"time_s": "T"}, 2)
    assert Entry.objects.filter(action="equipment.remember_columns", actor=tester).count() == 1


@pytest.mark.parametrize("who", ["tester", "approver", "administrator", "customer", "witness"])
def test_only_the_quality_manager_changes_equipment(request, quality_manager, who):
    made = instrument(quality_manager)
    chain = system(quality_manager, made)
    by = request.getfixturevalue(who)
    before = Entry.objects.count()
    deeds = [
        lambda: instrument(by, "HV-09"),
        lambda: edit_instrument(instrument=made, version=1, changes={"location": "home"}, by=by),
        lambda: change_state(instrument=made, version=1, state="retired", on=TODAY, reason="x", by=by),
        lambda: calibrated(made, by),
        lambda: system(by, made, name="B"),
        lambda: end_system(system=chain, on=TODAY, reason="x", by=by),
    ]
    for deed in deeds:
        with pytest.raises(PermissionDenied, match="it needs: quality manager"):
            deed()
    assert Entry.objects.count() == before
