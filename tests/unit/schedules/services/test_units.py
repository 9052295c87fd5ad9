"""Receiving and correcting units, and their photographs."""

import hashlib
from datetime import timedelta
from io import BytesIO

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.base import ContentFile
from django.utils import timezone
from PIL import Image

from labsite.ledger.models import Entry
from labsite.ledger.services import StaleEdit
from schedules.models import Unit, UnitPhoto
from schedules.services.photographs import LARGEST_BYTES, add_photo
from schedules.services.refusals import ScheduleRefused
from schedules.services.units import edit_unit, enter_units
from tests.orders import REACTOR, a_plan, a_unit

pytestmark = pytest.mark.django_db


def enter(order, by, serials, **plate):
    plate = {"equipment": "series_reactor", "ratings": REACTOR, **plate}
    return enter_units(order=order, serials=serials, by=by, **plate)


def test_several_alike_are_entered_at_once_each_with_number_and_entry(order, tester):
    units = enter(order, tester, ["A1", " A2 ", "", "A3"], design="SR-15", condition="Crate dented")
    assert [unit.serial for unit in units] == ["A1", "A2", "A3"]
    assert len({unit.number for unit in units}) == 3
    assert {(unit.design, unit.condition) for unit in units} == {("SR-15", "Crate dented")}
    recorded = Entry.objects.filter(action="unit.entered").order_by("sequence")
    assert [entry.changes["serial"][1] for entry in recorded] == ["A1", "A2", "A3"]


def test_a_duplicate_in_the_order_is_named_and_none_is_entered(order, tester):
    enter(order, tester, ["A2"])
    with pytest.raises(ScheduleRefused, match=r"Already in O-\d+-\d+: A2. No unit was entered."):
        enter(order, tester, ["A1", "A2", "A3"])
    assert Unit.objects.count() == 1


@pytest.mark.parametrize(
    ("serials", "words"),
    [
        ([" ", ""], "Give at least one serial number, one on each line."),
        (["B", "A", "B", "A"], "Stands twice in your list: A, B. No unit was entered."),
        ([str(n) for n in range(201)], "201 serial numbers at once; enter at most 200."),
        (["x" * 81], f"Not a serial number: {'x' * 40}…; give up to 80 printable characters."),
    ],
)
def test_serials_that_cannot_stand_are_refused_in_words(order, tester, serials, words):
    with pytest.raises(ScheduleRefused) as refused:
        enter(order, tester, serials)
    assert refused.value.words == words
    assert not Unit.objects.exists()


@pytest.mark.parametrize("who", ["customer", "witness", "administrator"])
def test_people_outside_technical_work_enter_no_units(request, order, who):
    with pytest.raises(PermissionDenied, match="may enter units"):
        enter(order, request.getfixturevalue(who), ["A1"])


@pytest.mark.parametrize(
    ("ratings", "field"),
    [
        ({}, "highest_voltage_kv"),
        ({"highest_voltage_kv": "15.5"}, "highest_voltage_kv"),
        ({"highest_voltage_kv": 15.5, "lightning_impulse_kv": 111}, "lightning_impulse_kv"),
        ({"highest_voltage_kv": 15.5, "phases": 2}, "phases"),
        ({"highest_voltage_kv": 15.5, "colour": "grey"}, "colour"),
    ],
)
def test_ratings_that_give_no_plan_are_refused_by_their_field(order, tester, ratings, field):
    with pytest.raises(ScheduleRefused) as refused:
        enter(order, tester, ["A1"], ratings=ratings)
    assert [one.field for one in refused.value.refusals] == [field]
    assert not Unit.objects.exists()


def test_unknown_equipment_and_a_day_to_come_are_refused_together(order, tester):
    tomorrow = timezone.localdate() + timedelta(days=1)
    with pytest.raises(ScheduleRefused) as refused:
        enter(order, tester, ["A1"], equipment="toaster", received_on=tomorrow)
    assert [one.field for one in refused.value.refusals] == ["received_on", "equipment"]


def test_a_unit_is_corrected_with_its_entry(unit, tester):
    changed = edit_unit(unit=unit, version=1, changes={"serial": "SR-009", "condition": "Dry"}, by=tester)
    assert (changed.serial, changed.version) == ("SR-009", 2)
    entry = Entry.objects.get(action="unit.changed")
    assert entry.changes == {"serial": ["SR-001", "SR-009"], "condition": ["", "Dry"]}


def test_a_stale_correction_shows_both_values(unit, tester, second_tester):
    edit_unit(unit=unit, version=1, changes={"condition": "Dry"}, by=tester)
    with pytest.raises(StaleEdit) as stale:
        edit_unit(unit=unit, version=1, changes={"condition": "Wet"}, by=second_tester)
    assert [(one.field, one.current, one.yours) for one in stale.value.conflicts] == [("condition", "Dry", "Wet")]


def test_ratings_under_a_plan_change_only_with_a_reason(unit, tester):
    a_plan(unit=unit, by=tester)
    ratings = {"highest_voltage_kv": 15, "lightning_impulse_kv": 95}
    with pytest.raises(ScheduleRefused, match="Say why they change"):
        edit_unit(unit=unit, version=1, changes={"ratings": ratings}, by=tester)
    changed = edit_unit(unit=unit, version=1, changes={"ratings": ratings}, reason="Plate misread", by=tester)
    assert changed.ratings == ratings


def test_a_serial_of_a_sister_and_a_field_out_of_reach_are_refused(order, unit, tester):
    a_unit(order=order, by=tester, serial="SR-002")
    with pytest.raises(ScheduleRefused, match="has another unit SR-002"):
        edit_unit(unit=unit, version=1, changes={"serial": "SR-002"}, by=tester)
    with pytest.raises(ScheduleRefused, match="no field to change named order"):
        edit_unit(unit=unit, version=1, changes={"order": order}, by=tester)


def picture(kind="PNG", size=(8, 6)):
    stream = BytesIO()
    Image.new("RGB", size, "grey").save(stream, kind)
    return stream.getvalue()


def test_a_photograph_keeps_its_bytes_and_digest(unit, tester):
    content = picture("JPEG")
    photo = add_photo(unit=unit, file=ContentFile(content, name="x.exe"), caption=" Front ", by=tester)
    with photo.image.open("rb") as kept:
        assert kept.read() == content
    assert photo.sha256 == hashlib.sha256(content).hexdigest()
    assert photo.image.name.endswith(".jpg")
    assert photo.caption == "Front"
    assert Entry.objects.filter(action="unit.photograph_added", actor=tester).count() == 1


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "The file is empty"),
        (b"not a picture at all", "not a whole JPEG, PNG or WebP picture"),
        (picture("JPEG", (64, 64))[:-200], "not a whole JPEG, PNG or WebP picture"),
        (picture("GIF"), "not a whole JPEG, PNG or WebP picture"),
        (b"\0" * (LARGEST_BYTES + 1), "a photograph may have 20 MB"),
    ],
    ids=["empty", "text", "truncated", "gif", "large"],
)
def test_what_is_no_photograph_is_refused_in_words(unit, tester, content, words):
    with pytest.raises(ScheduleRefused, match=words):
        add_photo(unit=unit, file=ContentFile(content, name="x.jpg"), caption="", by=tester)
    assert not UnitPhoto.objects.exists()


def test_the_same_picture_twice_and_a_stranger_are_refused(unit, tester, customer):
    add_photo(unit=unit, file=ContentFile(picture(), name="a.png"), by=tester)
    with pytest.raises(ScheduleRefused, match="already has this very picture"):
        add_photo(unit=unit, file=ContentFile(picture(), name="b.png"), by=tester)
    with pytest.raises(PermissionDenied):
        add_photo(unit=unit, file=ContentFile(picture(size=(9, 9)), name="c.png"), by=customer)
    assert UnitPhoto.objects.count() == 1
