"""The board's short way against the whole answer, its files, reminders, calendars, labels and the import of lists."""

from __future__ import annotations

import csv
import io
import smtplib
from datetime import UTC, date, datetime, timedelta

import openpyxl
import pypdf
import pytest
import time_machine
from django.core import mail
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from equipment.metrology.validity import board_class
from equipment.models import Calibration, Instrument, InstrumentImport, Reminder, ReminderDigest, StateChange
from equipment.selectors import board_row, instrument_board, instrument_status
from equipment.services import change_state, imports
from equipment.services.calendars import calendar_of, ics, renew_calendar
from equipment.services.calibrations import _keep_latest
from equipment.services.exports import csv_of, neutral, xlsx_of
from equipment.services.reminders import events_of, send_reminders, set_reminders
from labsite.ledger.models import Entry
from tests.integration.equipment.inventory import BASE, TODAY, calibrated, instrument

pytestmark = pytest.mark.usefixtures("_on_the_day")


@pytest.fixture
def _on_the_day():
    with time_machine.travel("2026-11-25T09:00:00Z", tick=False):
        yield


@pytest.fixture
def as_quality_manager(client, quality_manager):
    client.force_login(quality_manager)
    return client


days = st.integers(-400, 400)
calibrations = st.lists(st.tuples(days, st.integers(1, 500), st.booleans()), max_size=4)
states = st.lists(st.tuples(days, st.sampled_from(Instrument.State.values), st.integers(0, 2)), max_size=3)
shelves = st.lists(st.tuples(calibrations, states, st.booleans(), st.sampled_from(Instrument.State.values)), max_size=4)


@given(shelves, days, st.booleans())
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_the_boards_short_way_says_what_the_whole_answer_says(quality_manager, shelf, ahead, is_kept):
    StateChange.objects.all().delete()
    Calibration.objects.all().delete()
    Instrument.objects.all().delete()
    for number, (periods, moves, is_indicator, state) in enumerate(shelf):
        item = Instrument.objects.create(identifier=f"I-{number}", is_indicator=is_indicator, state=state, **BASE)
        for place, (start, length, is_good) in enumerate(periods):
            begun = TODAY + timedelta(days=start)
            Calibration.objects.create(
                instrument=item, laboratory="Tarn (invented)", certificate_number=f"K-{place}", calibrated_on=begun,
                due_on=begun + timedelta(days=length), relative_uncertainty_pct=1.0, entered_by=quality_manager,
                verdict="within" if is_good else "outside",
            )  # fmt: skip
        for start, new, hour in moves:
            on = TODAY + timedelta(days=start)
            at = datetime(on.year, on.month, on.day, 8 + hour, tzinfo=UTC)
            StateChange.objects.create(instrument=item, state=new, on=on, at=at, reason="x", entered_by=quality_manager)
        if moves:  # as the service keeps it: the state of the last change, the worst of several at one moment
            _take_over(item)
        if is_kept and periods and all(start <= 0 for start, _, _ in periods):
            _keep_latest(item)
    on = TODAY + timedelta(days=ahead)
    board = instrument_board(quality_manager, on)
    whole = [board_class(instrument_status(row, on)) for row in Instrument.objects.for_list()]
    assert {name: whole.count(name) for name in board.counts} == board.counts
    assert sorted(row.board for row in board.rows) == sorted(whole)


WORST_FIRST = ["retired", "quarantined", "in_calibration", "in_use"]


def _take_over(item: Instrument) -> None:
    last = min(item.state_changes.all(), key=lambda row: (-row.at.timestamp(), WORST_FIRST.index(row.state)))
    Instrument.objects.filter(pk=item.pk).update(state=last.state, state_since=last.on)


def test_the_board_of_a_past_day_and_of_another_horizon(as_quality_manager, quality_manager):
    made = instrument(quality_manager)
    calibrated(made, quality_manager, due_in_days=90)
    address = reverse("equipment:instruments")
    assert "Due soon 1" in as_quality_manager.get(address, {"horizon": 90}).content.decode()
    assert "Fine 1" in as_quality_manager.get(address).content.decode()
    before = as_quality_manager.get(address, {"on": "2020-01-01"}).content.decode()
    assert "Overdue 1" in before
    assert "not today" in before
    drawn = as_quality_manager.get(address, {"view": "timeline"}).content.decode()
    assert "Timeline of calibrations" in drawn
    assert "HV-01" in drawn


FORMULA = "=HYPERLINK(1)"


@pytest.mark.parametrize("text", ["=1", "+1", "-1", "@x", "\t=1", " =1"])
def test_a_text_that_begins_like_a_formula_is_neutralised(text):
    assert neutral(text) == f"'{text}"
    assert neutral(-12.5) == -12.5
    assert neutral(None) is None


def test_files_of_the_board_say_what_the_page_says(as_quality_manager, quality_manager):
    calibrated(instrument(quality_manager, "HV-01", description=FORMULA), quality_manager, due_in_days=-3)
    board = instrument_board(quality_manager, TODAY)
    rows = list(csv.reader(io.StringIO(csv_of(board).decode("utf-8-sig"))))
    assert rows[1][:2] == ["HV-01", f"'{FORMULA}"]
    assert rows[1][-2:] == ["2026-11-22", "-3"]
    sheet = openpyxl.load_workbook(io.BytesIO(xlsx_of(board))).active
    cells = list(next(sheet.iter_rows(min_row=2)))
    assert (cells[1].data_type, cells[1].value) == ("s", f"'{FORMULA}")
    assert cells[-1].value == -3
    answer = as_quality_manager.get(reverse("equipment:export", args=["pdf"]))
    text = pypdf.PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
    assert "HV-01" in text
    assert "Overdue" in text
    for form in ("csv", "xlsx"):
        given_out = as_quality_manager.get(reverse("equipment:export", args=[form]), {"board": "fine"})
        assert given_out["Content-Disposition"] == f'attachment; filename="instruments-2026-11-25.{form}"'
        assert b"HV-01" not in given_out.content
    assert as_quality_manager.get("/instruments/export/docx/").status_code == 404


@pytest.mark.parametrize(
    ("left", "events"),
    [
        (61, []),
        (60, ["60"]),
        (25, ["60", "30"]),
        (0, ["60", "30", "7", "0"]),
        (-1, ["60", "30", "7", "0", "overdue-1"]),
        (-7, ["60", "30", "7", "0", "overdue-1"]),
        (-8, ["60", "30", "7", "0", "overdue-1", "overdue-2"]),
    ],
)
def test_which_events_have_come(left, events):
    assert events_of(left, [60, 30, 7, 0], wants_escalation=True) == events


def test_a_digest_goes_out_once_for_each_event_also_when_the_clock_is_set_back(quality_manager, approver):
    calibrated(instrument(quality_manager, "SOON"), quality_manager, due_in_days=30)
    calibrated(instrument(quality_manager, "LATE"), quality_manager, due_in_days=-2)
    calibrated(instrument(quality_manager, "FINE"), quality_manager, due_in_days=300)
    assert send_reminders(TODAY) == 2
    to_manager = next(m for m in mail.outbox if m.to == [quality_manager.email])
    assert to_manager.subject == "Calibrations: 1 overdue, 1 due"
    assert "- LATE Voltage divider 100 kV (invented): OVERDUE since 23 Nov 2026, 2 days" in to_manager.body
    assert "SOON" in to_manager.body
    assert "FINE" not in to_manager.body
    escalated = next(m for m in mail.outbox if m.to == [approver.email])
    assert "LATE" in escalated.body
    assert "SOON" not in escalated.body
    for again in (TODAY, TODAY - timedelta(days=5), TODAY + timedelta(days=1)):
        assert send_reminders(again) == 0
    assert len(mail.outbox) == 2
    assert send_reminders(TODAY + timedelta(days=23)) == 2  # SOON has 7 days left, LATE a further week
    seven = next(m for m in mail.outbox[2:] if m.to == [quality_manager.email])
    assert "7 days left" in seven.body


@pytest.mark.parametrize(
    ("where", "fault"),
    [
        ("open", OSError("no mail server")),
        ("send_messages", smtplib.SMTPDataError(451, b"try later")),
        ("send_messages", smtplib.SMTPRecipientsRefused({"q@x": (550, b"unknown")})),
    ],
)
def test_a_mail_that_was_certainly_not_taken_is_tried_again(quality_manager, monkeypatch, where, fault):
    calibrated(instrument(quality_manager), quality_manager, due_in_days=5)

    def refuse(*args, **kwargs):
        raise fault

    with monkeypatch.context() as broken:
        broken.setattr(f"django.core.mail.backends.locmem.EmailBackend.{where}", refuse)
        assert send_reminders(TODAY) == 0
    digest = ReminderDigest.objects.get()
    assert (digest.begun_at, digest.sent_at) == (None, None)
    assert send_reminders(TODAY + timedelta(days=1)) == 1  # the same digest, of the day that it tells of
    digest.refresh_from_db()
    assert digest.sent_at is not None
    assert (digest.on, len(mail.outbox), mail.outbox[0].extra_headers["Message-ID"]) == (TODAY, 1, digest.message_id)
    assert send_reminders(TODAY + timedelta(days=1)) == 0


@pytest.fixture
def in_doubt(quality_manager, monkeypatch):
    """Return a digest whose exchange with the mail server broke off."""
    calibrated(instrument(quality_manager), quality_manager, due_in_days=5)

    def break_off(*args, **kwargs):
        raise smtplib.SMTPServerDisconnected("Connection unexpectedly closed")

    with monkeypatch.context() as broken:
        broken.setattr("django.core.mail.backends.locmem.EmailBackend.send_messages", break_off)
        assert send_reminders(TODAY) == 0
    return ReminderDigest.objects.get()


def test_a_mail_that_may_have_gone_is_not_sent_again_by_itself_and_a_person_is_asked(
    as_quality_manager, in_doubt, django_capture_on_commit_callbacks
):
    address = reverse("equipment:send-digest", args=[in_doubt.pk])
    board = reverse("equipment:instruments")
    assert send_reminders(TODAY) == 0
    assert address not in as_quality_manager.get(board).content.decode()  # it may still be on its way
    assert as_quality_manager.post(address).status_code == 404
    with time_machine.travel("2026-11-25T09:15:00Z", tick=False):
        assert send_reminders(TODAY) == 0
        assert mail.outbox == []
        assert address in as_quality_manager.get(board).content.decode()
        with django_capture_on_commit_callbacks(execute=True):
            as_quality_manager.post(address)
        (sent,) = mail.outbox
        assert sent.extra_headers["Message-ID"] == in_doubt.message_id
        assert sent.body.startswith("This may have reached you before: the site was interrupted")
        assert Entry.objects.filter(action="equipment.send_reminder_again").count() == 1
        assert address not in as_quality_manager.get(board).content.decode()
        assert as_quality_manager.post(address).status_code == 404
        assert send_reminders(TODAY) == 0
    assert len(mail.outbox) == 1


def test_a_mail_that_a_person_says_arrived_is_closed(client, tester, in_doubt):
    address = reverse("equipment:close-digest", args=[in_doubt.pk])
    with time_machine.travel("2026-11-25T08:00:00Z", tick=False):  # the clock was set back by an hour
        client.force_login(tester)
        assert client.post(address).status_code == 403
        client.force_login(in_doubt.user)
        client.post(address)
        in_doubt.refresh_from_db()
        assert in_doubt.closed_by == in_doubt.user
        assert send_reminders(TODAY) == 0
    assert mail.outbox == []


def test_instruments_out_of_service_remind_nobody(quality_manager):
    made = instrument(quality_manager)
    calibrated(made, quality_manager, due_in_days=5)
    change_state(instrument=made, version=1, state="in_calibration", on=TODAY, reason="sent", by=quality_manager)
    assert send_reminders(TODAY) == 0


def test_everybody_sets_their_own_reminders(as_quality_manager, quality_manager, tester):
    calibrated(instrument(quality_manager), quality_manager, due_in_days=12)
    address = reverse("equipment:reminders")
    assert "60, 30, 7, 0" in as_quality_manager.get(address).content.decode()
    as_quality_manager.post(address, {"version": 1, "days_before": "14, 3", "is_wanted": "on"})
    assert quality_manager.reminder_setting.days_before == [14, 3]
    assert send_reminders(TODAY) == 1
    assert [row.event for row in Reminder.objects.all()] == ["14"]
    bad = as_quality_manager.post(address, {"version": 2, "days_before": "soon"})
    assert "Write whole numbers" in bad.content.decode()
    with pytest.raises(ValidationError, match="their own"):
        set_reminders(
            person=quality_manager, version=2, is_wanted=False, days_before=[], wants_escalation=False, by=tester
        )
    set_reminders(
        person=quality_manager, version=2, is_wanted=False, days_before=[1], wants_escalation=False, by=quality_manager
    )
    assert send_reminders(TODAY + timedelta(days=11)) == 0


def test_a_calendar_is_found_by_its_secret_alone_and_can_be_renewed(client, quality_manager):
    calibrated(instrument(quality_manager, "HV-01", location="Bay 2; east, top"), quality_manager, due_in_days=30)
    old = renew_calendar(by=quality_manager)
    answer = client.get(reverse("equipment:calendar", args=[old]))
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    lines = answer.content.decode().split("\r\n")
    assert lines[0] == "BEGIN:VCALENDAR"
    assert "DTSTART;VALUE=DATE:20261225" in lines
    assert "LOCATION:Bay 2\\; east\\, top" in lines
    new = renew_calendar(by=quality_manager)
    assert client.get(reverse("equipment:calendar", args=[old])).status_code == 404
    assert client.get(reverse("equipment:calendar", args=[new])).status_code == 200
    assert new not in str(list(Entry.objects.values_list("changes", flat=True)))
    quality_manager.is_active = False
    quality_manager.save()
    assert calendar_of(new, TODAY) is None


def test_lines_of_a_calendar_are_folded_at_75_octets_between_characters(quality_manager):
    made = instrument(quality_manager, "Ω" * 40, description="é" * 150)
    calibrated(made, quality_manager, due_in_days=5)
    text = ics([board_row(Instrument.objects.for_list().get(), TODAY)], TODAY)
    assert max(len(line.encode()) for line in text.split("\r\n")) <= 75
    assert "é" * 150 in text.replace("\r\n ", "")


def test_labels_carry_a_code_that_leads_to_the_instrument(as_quality_manager, quality_manager):
    made = instrument(quality_manager)
    calibrated(made, quality_manager, due_in_days=30)
    shown = as_quality_manager.get(reverse("equipment:labels")).content.decode()
    assert 'Calibrated until <span class="label-day">2026-12-25</span>' in shown
    assert shown.count('class="label-code"') == 1
    import segno

    from equipment.selectors.labels import labels

    label = labels([board_row(made, TODAY)], lambda item: "https://lab.example/instruments/1/")[0]
    code = segno.make("https://lab.example/instruments/1/", error="m", micro=False)
    assert label.side == len(code.matrix)
    assert label.path.count("M") == sum(map(sum, code.matrix))


HEADS = ("Identifier", "Description", "Serial", "Quantity", "Place", "Interval months", "Laboratory", "Certificate",
         "Calibrated on", "Uncertainty pct")  # fmt: skip
LIST = ",".join(HEADS) + "\n"
DIVIDER = "HV-1,Divider,S1,Voltage,Bay 1,24,Tarn (invented),K-1,2026-03-01,1.5\n"
GOOD = LIST + DIVIDER + "PD-1,Detector,S2,Apparent charge,,,,,,\n"


def read(text: str, by) -> InstrumentImport:
    return imports.read_list(given_name="list.csv", content=text.encode(), by=by)


def test_a_list_is_shown_first_and_then_imported_whole(as_quality_manager, quality_manager):
    file = SimpleUploadedFile("list.csv", GOOD.encode())
    answer = as_quality_manager.post(reverse("equipment:import"), {"file": file})
    assert Instrument.objects.count() == 0
    shown = as_quality_manager.get(answer["Location"]).content.decode()
    assert "2 instruments, nothing stands against them" in shown
    as_quality_manager.post(answer["Location"], {"yes": "1"})
    made = Instrument.objects.get(identifier="HV-1")
    assert (made.quantity, made.interval_months, made.location) == ("voltage", 24, "Bay 1")
    assert made.calibrations.get().due_on == date(2028, 2, 29)
    assert Instrument.objects.get(identifier="PD-1").quantity == "charge"
    again = as_quality_manager.post(answer["Location"], {"yes": "1"})
    assert "imported already" in again.content.decode()
    assert Instrument.objects.count() == 2


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (",Divider,S1,voltage,,,,,,", "Row 3: the identifier is missing."),
        ("HV-1,Divider,S1,voltage,,,,,,", "Row 3: HV-1 stands in row 2 too."),
        ("OLD,Divider,S1,voltage,,,,,,", "Row 3: there is already an instrument OLD."),
        ("HV-2,Divider,S1,volts,,,,,,", "Row 3: “volts” is no quantity; use one of voltage, apparent charge"),
        ("HV-2,Divider,S1,voltage,,x,,,,", "Row 3: the interval “x” is no whole number of months"),
        ("HV-2,Divider,S1,voltage,,,Tarn,K-2,03/01/2026,1", "Row 3: “03/01/2026” is no day"),
        (
            "HV-2,Divider,S1,voltage,,,Tarn,K-2,2027-01-01,1",
            "Row 3: the day 2027-01-01 of the calibration",
        ),
        ("HV-2,Divider,S1,voltage,,,Tarn,K-2,2026-01-01,0", "Row 3: the uncertainty “0” is no number above zero."),
        ("HV-2,Divider,S1,voltage,,,,K-2,,", "Row 3: the calibration lacks its laboratory."),
    ],
)
def test_one_bad_row_keeps_the_whole_list_out(quality_manager, row, words):
    instrument(quality_manager, "OLD")
    listed = read(LIST + "HV-1,Divider,S1,voltage,,,,,,\n" + row + "\n", quality_manager)
    assert any(fault.startswith(words) for fault in listed.faults), listed.faults
    before = Entry.objects.count()
    with pytest.raises(ValidationError, match="Nothing was imported"):
        imports.import_list(listed=listed, by=quality_manager)
    assert (Instrument.objects.count(), Entry.objects.count()) == (1, before)


@given(
    st.lists(st.sampled_from(["A", "B", "C", "", "a"]), min_size=1, max_size=5),
    st.sampled_from(["voltage", "nonsense"]),
)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_an_import_is_all_or_nothing(quality_manager, identifiers, quantity):
    Instrument.objects.all().delete()
    rows = "".join(
        f"{name},Divider,S,{quantity if place == 0 else 'voltage'},,,,,,\n" for place, name in enumerate(identifiers)
    )
    listed = read(LIST + rows, quality_manager)
    try:
        imports.import_list(listed=listed, by=quality_manager)
    except ValidationError:
        assert Instrument.objects.count() == 0
        assert listed.faults
    else:
        assert Instrument.objects.count() == len(identifiers)
        assert not listed.faults


def test_what_changed_between_preview_and_import_is_seen(quality_manager):
    listed = read(GOOD, quality_manager)
    instrument(quality_manager, "pd-1")
    with pytest.raises(ValidationError, match="already an instrument PD-1"):
        imports.import_list(listed=listed, by=quality_manager)
    assert Instrument.objects.count() == 1


@pytest.mark.parametrize("content", [b"", b"a,b\n1,2\n", LIST.encode()])
def test_what_is_no_list_is_refused(quality_manager, content):
    with pytest.raises(ValidationError):
        imports.read_list(given_name="list.csv", content=content, by=quality_manager)
    assert InstrumentImport.objects.count() == 0
