"""Log, custody, ranges, files, states on past days, and calibrations that are read and confirmed."""

from __future__ import annotations

import itertools
from datetime import date, timedelta

import pytest
import time_machine
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from equipment import services
from equipment.models import Calibration, CalibrationDraft, Instrument, InstrumentFile, LogEntry
from equipment.selectors import Measured, instrument_status
from equipment.selectors.accuracy import corrections_of, corrections_used
from equipment.services import Circumstances, Point, assign_system, change_state
from equipment.services.calibrations import due_from_interval
from equipment.services.found_wrong import when_found_wrong
from labsite.ledger.models import Entry
from tests.integration.equipment.dcc_text import certificate
from tests.integration.equipment.inventory import TODAY, calibrated, instrument

pytestmark = pytest.mark.usefixtures("_on_the_day")


@pytest.fixture
def _on_the_day():
    with time_machine.travel("2026-11-25T09:00:00Z", tick=False):
        yield


@pytest.fixture
def divider(quality_manager) -> Instrument:
    made = instrument(quality_manager)
    services.enter_range(
        instrument=made, quantity="voltage", unit="kV", low=0, high=100, accuracy_pct=1, by=quality_manager
    )
    return made


@pytest.fixture
def as_quality_manager(client, quality_manager):
    client.force_login(quality_manager)
    return client


def fresh(made: Instrument) -> Instrument:
    return Instrument.objects.for_detail().get(pk=made.pk)


def test_the_log_keeps_words_and_days_and_refuses_days_to_come(divider, tester):
    services.log_event(instrument=divider, kind="repair", on=TODAY, text=" New plug. ", by=tester)
    assert LogEntry.objects.get().text == "New plug."
    assert Entry.objects.order_by("-sequence").first().action == "equipment.log_event"
    for wrong in ({"on": TODAY + timedelta(days=1)}, {"text": " "}, {"kind": "gossip"}, {"kind": "custody"}):
        with pytest.raises(ValidationError):
            services.log_event(instrument=divider, **{"kind": "repair", "on": TODAY, "text": "x", **wrong}, by=tester)
    assert LogEntry.objects.count() == 1


def test_custody_goes_from_hand_to_hand_and_the_log_keeps_it(divider, tester):
    moved = services.hand_over(
        instrument=divider, version=1, custodian="Tove Brandt", location="Bay 2", on=TODAY, by=tester
    )
    assert (moved.custodian, moved.location, moved.version) == ("Tove Brandt", "Bay 2", 2)
    assert LogEntry.objects.get().text == "Kept by Tove Brandt, at Bay 2."


def test_a_file_is_kept_once_byte_for_byte(as_quality_manager, divider, quality_manager):
    said = {"instrument": divider, "kind": "manual", "given_name": "manual.pdf", "by": quality_manager}
    row = services.keep_file(content=b"%PDF invented", **said)
    assert services.keep_file(content=b"%PDF invented", **said) == row
    answer = as_quality_manager.get(reverse("equipment:file", args=[divider.pk, row.pk]))
    assert b"".join(answer.streaming_content) == b"%PDF invented"
    assert answer["Content-Disposition"] == 'attachment; filename="manual.pdf"'
    with pytest.raises(ValidationError, match="empty"):
        services.keep_file(content=b"", **said)
    assert InstrumentFile.objects.count() == 1


MOVES = [
    ("in_calibration", date(2026, 9, 1)),
    ("in_use", date(2026, 9, 20)),
    ("quarantined", date(2026, 10, 5)),
    ("in_use", date(2026, 10, 12)),
]
PERIODS = [("K-1", date(2025, 9, 15), date(2026, 9, 14)), ("K-2", date(2026, 9, 18), date(2027, 9, 17))]
ASKED = [date(2025, 1, 1), date(2026, 8, 31), date(2026, 9, 10), date(2026, 9, 25), date(2026, 10, 6), TODAY]
ANSWERS = ["calibrated_later", "valid", "in_calibration", "valid", "quarantined", "valid"]


@pytest.mark.parametrize("order", list(itertools.permutations(range(4)))[::5])
def test_the_answer_for_any_day_does_not_depend_on_the_order_of_entering(quality_manager, order):
    made = instrument(quality_manager)
    periods = PERIODS if order[0] % 2 else PERIODS[::-1]
    for number, begun, due in periods:
        calibrated(made, quality_manager, number=number, calibrated_on=begun, due_on=due)
    for place in order:
        state, on = MOVES[place]
        now = Instrument.objects.get(pk=made.pk)
        if place == max(order[: order.index(place) + 1]):  # the latest so far: a move like any other
            Instrument.objects.filter(pk=made.pk).update(state=MOVES[place - 1][0] if place else "in_use")
        change_state(
            instrument=now, version=now.version, state=state, on=on, reason=f"move {place}", by=quality_manager
        )
    now = fresh(made)
    assert [instrument_status(now, day).code for day in ASKED] == ANSWERS
    assert now.state == "in_use"
    assert (
        instrument_status(now, date(2026, 10, 6)).reason == "The instrument is quarantined since 5 Oct 2026 (move 2)."
    )


def test_the_reasons_beyond_the_dates(divider, quality_manager):
    calibrated(divider, quality_manager, number="K-1", calibrated_on=date(2026, 3, 1))
    first = Calibration.objects.get()
    chain = assign_system(
        name="Chain", quantity="voltage", instruments=[divider], relative_uncertainty_pct=3,
        assigned_on=date(2026, 6, 1), by=quality_manager,
    )  # fmt: skip
    other = assign_system(
        name="Other", quantity="voltage", instruments=[instrument(quality_manager, "HV-9")],
        relative_uncertainty_pct=3, assigned_on=date(2026, 6, 1), by=quality_manager,
    )  # fmt: skip
    now = fresh(divider)
    assert instrument_status(now, TODAY, measured=Measured("voltage", 99.0, "kV"), system=chain, listed=first).is_valid
    beyond = instrument_status(now, TODAY, measured=Measured("voltage", 120.0, "kV"))
    assert (beyond.code, beyond.reason) == (
        "outside_range",
        "120 kV lies outside the range of the instrument: 0 to 100 kV.",
    )
    assert instrument_status(now, TODAY, system=other).code == "not_assigned"
    assert instrument_status(now, date(2026, 5, 1), system=chain).code == "not_assigned"
    calibrated(divider, quality_manager, number="K-2", calibrated_on=date(2026, 11, 1))
    again = instrument_status(fresh(divider), TODAY, listed=first)
    assert again.code == "recalibrated_since"
    assert "K-1 of 1 Mar 2026 was listed, K-2 of 1 Nov 2026 counts" in again.reason
    assert instrument_status(fresh(divider), date(2026, 10, 1), listed=first).is_valid


def test_an_indicator_needs_no_calibration(quality_manager):
    lamp = instrument(quality_manager, "LAMP", is_indicator=True)
    assert instrument_status(fresh(lamp), TODAY).code == "not_required"


FOUND = Point("as_found", "kV", 50.0, 50.8, 0.1)
LEFT = Point("as_left", "kV", 50.0, 50.05, 0.1)
ADJUSTED = Circumstances(was_adjusted=True, adjustment="R7 turned")


def test_the_points_say_how_it_was_found_and_those_who_asked_are_told(divider, quality_manager):
    told = []
    when_found_wrong("a test", lambda calibration, by: told.append((calibration.certificate_number, by)))
    try:
        entered = calibrated(divider, quality_manager, points=(FOUND, LEFT), circumstances=ADJUSTED)
        calibrated(divider, quality_manager, number="K-2", points=(LEFT,))
    finally:
        when_found_wrong("a test", lambda calibration, by: None)
    assert (entered.as_found, entered.verdict) == ("outside", "within")
    assert told == [("K-1", quality_manager)]


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ((Point("as_left", "kV", 50.0, 51.0, 0.1),), "The points deny it. At 50 kV the error is +1 kV"),
        ((FOUND,), "not adjusted, and no points as left say it is better"),
    ],
)
def test_a_statement_that_the_points_deny_is_refused(divider, quality_manager, points, words):
    with pytest.raises(ValidationError) as refusal:
        calibrated(divider, quality_manager, points=points)
    assert words in " ".join(refusal.value.messages)
    assert calibrated(divider, quality_manager, points=points, verdict="outside").verdict == "outside"
    assert instrument_status(fresh(divider), TODAY).code == "failed_calibration"


@pytest.mark.parametrize(
    ("begun", "months", "due"),
    [
        (date(2026, 11, 25), 12, date(2027, 11, 24)),
        (date(2026, 1, 31), 1, date(2026, 2, 27)),
        (date(2024, 2, 29), 12, date(2025, 2, 27)),
        (date(2026, 12, 1), 1, date(2026, 12, 31)),
    ],
)
def test_the_due_date_follows_from_the_interval(divider, quality_manager, begun, months, due):
    assert due_from_interval(begun, months) == due
    entered = calibrated(divider, quality_manager, calibrated_on=date(2026, 11, 25), due_on=None)
    assert entered.due_on == date(2027, 11, 24)


def test_corrections_are_a_curve_or_a_line_with_its_range(divider, quality_manager):
    rows = [Point("as_left", "kV", ref, ref + 0.001 * ref, 0.05) for ref in (10.0, 50.0, 100.0)]
    curve = corrections_of(calibrated(divider, quality_manager, points=rows))[0]
    assert curve.line is None
    assert curve.curve.apply(50.05).value == pytest.approx(50.0)
    assert (curve.curve.valid_from, curve.curve.valid_to) == pytest.approx((10.01, 100.1))
    straight = Circumstances(correction_method="line")
    line = corrections_of(calibrated(divider, quality_manager, number="K-2", points=rows, circumstances=straight))[0]
    assert line.line is not None
    assert line.line.slope == pytest.approx(-1 / 1001)  # correction = −reading · 0.001 / 1.001
    assert line.line.covariance != 0


@pytest.mark.parametrize(
    ("use", "points", "words"),
    [
        ("none_left", [("as_left", 50.0, 50.2, 0.1)], "At 50.2 kV a correction of -0.2 kV is left, more than its"),
        ("none_left", [("as_found", 50.0, 50.0, 0.1)], "No point as left shows that no correction is left"),
        ("applied", [("as_left", 50.0, 50.1, 0.1), ("as_left", 50.2, 50.1, 0.1)], "no single correction at each"),
        ("applied", [], "give no single correction"),
        ("", [("as_left", 50.0, 50.1, 0.1)], "Say what the corrections are for"),
    ],
)
def test_a_use_of_corrections_that_the_points_deny_is_refused(divider, quality_manager, use, points, words):
    rows = [Point(moment, "kV", reference, reading, u) for moment, reference, reading, u in points]
    with pytest.raises(ValidationError, match=words):
        calibrated(divider, quality_manager, points=rows, circumstances=Circumstances(correction_use=use))
    assert not Calibration.objects.exists()


def test_what_is_left_within_its_uncertainty_is_none(divider, quality_manager):
    rows = [Point("as_left", "kV", 50.0, 50.1, 0.1)]
    made = calibrated(divider, quality_manager, points=rows, circumstances=Circumstances(correction_use="none_left"))
    assert corrections_used(made).words == f"Adjusted; {made.certificate_number} leaves no correction."
    assert corrections_used(made).curves == ()


def test_what_corrections_are_for_is_decided_once(as_quality_manager, divider, quality_manager):
    rows = [Point("as_left", "kV", ref, 1.01 * ref, 0.05) for ref in (10.0, 100.0)]
    made = calibrated(divider, quality_manager, points=rows)
    assert "is not decided; they are not applied" in corrections_used(made).words
    page = reverse("equipment:detail", args=[divider.pk])
    address = reverse("equipment:decide-corrections", args=[divider.pk, made.pk])
    assert address in as_quality_manager.get(page).content.decode()
    as_quality_manager.post(address, {"use": "applied", "reason": "The divider is used on its own"})
    made.refresh_from_db()
    used = corrections_used(made)
    assert used.words == f"Corrected by {made.certificate_number}: -1 to -0.1 kV from 10.1 to 101 kV."
    assert [row["use"] for row in used.curves] == ["applied"]
    assert Entry.objects.get(action="equipment.decide_corrections").reason == "The divider is used on its own"
    again = as_quality_manager.post(address, {"use": "not_applied", "reason": "second thoughts"})
    assert "This was decided already: applied to the readings" in again.content.decode()
    assert address not in as_quality_manager.get(page).content.decode()


def test_nothing_that_was_read_counts_before_a_person_confirms_it(as_quality_manager, divider, quality_manager):
    calibrated(divider, quality_manager, due_in_days=-10)
    file = SimpleUploadedFile("c.xml", certificate())
    answer = as_quality_manager.post(
        reverse("equipment:read", args=[divider.pk]), {"file": file, "moment": "as_left", "text": "", "unit": ""}
    )
    draft = CalibrationDraft.objects.get()
    assert answer["Location"] == reverse("equipment:draft", args=[divider.pk, draft.pk])
    assert instrument_status(fresh(divider), TODAY).code == "expired"
    shown = as_quality_manager.get(answer["Location"]).content.decode()
    assert "100.60" in shown
    assert "Tarn Metrology" in shown
    said = {
        "laboratory": "Tarn Metrology (invented)", "certificate_number": "K-77", "calibrated_on": "2026-11-01",
        "relative_uncertainty_pct": "0.5", "coverage_factor": "2", "verdict": "within", "moment": "both",
    }  # fmt: skip
    undecided = as_quality_manager.post(answer["Location"], said)
    assert "Say what the corrections are for" in undecided.content.decode()
    assert not Calibration.objects.filter(certificate_number="K-77").exists()
    said["correction_use"] = "applied"
    as_quality_manager.post(answer["Location"], said)
    entered = Calibration.objects.get(certificate_number="K-77")
    assert (entered.points.count(), entered.as_found, entered.due_on) == (
        6,
        "doubtful",
        date(2027, 10, 31),
    )  # 0.05 + 0.1 of 0.1 kV at 10 kV
    assert entered.correction_use == "applied"
    assert InstrumentFile.objects.get().calibration == entered
    assert instrument_status(fresh(divider), TODAY).is_valid
    again = as_quality_manager.post(answer["Location"], {**said, "certificate_number": "K-78"})
    assert "confirmed already" in again.content.decode()
    assert Calibration.objects.count() == 2


def test_a_certificate_of_another_instrument_is_noticed(divider, quality_manager):
    draft = services.read_file(
        instrument=divider, given_name="c.xml", content=certificate(serial="S-9"), unit="", moment="as_left",
        by=quality_manager,
    )  # fmt: skip
    assert draft.oddities == ["The certificate names S-9, not serial S-1: is it the right one?"]
    with pytest.raises(ValidationError, match="Say why"):
        services.set_aside_draft(draft=draft, reason=" ", by=quality_manager)
    services.set_aside_draft(draft=draft, reason="another divider", by=quality_manager)
    with pytest.raises(ValidationError, match="set aside by Quentin Hale: another divider"):
        services.confirm_draft(draft=draft, circumstances=Circumstances(), by=quality_manager)


def test_bad_paste_is_refused_in_words_and_stays_on_the_page(as_quality_manager, divider):
    answer = as_quality_manager.post(
        reverse("equipment:read", args=[divider.pk]),
        {"text": "Reference,Reading,Uncertainty\n50,OVL,0.1", "moment": "as_left", "unit": "kV"},
    )
    assert answer.status_code == 422
    assert "Row 2" in answer.content.decode()
    assert "OVL" in answer.content.decode()
    neither = as_quality_manager.post(reverse("equipment:read", args=[divider.pk]), {"moment": "as_left"})
    assert "one of the two" in neither.content.decode()
    assert CalibrationDraft.objects.count() == 0


def test_only_the_quality_manager_reads_calibrations_and_sets_ranges(divider, tester):
    with pytest.raises(PermissionDenied):
        services.read_pasted(instrument=divider, text="x", unit="kV", moment="as_left", by=tester)
    with pytest.raises(PermissionDenied):
        services.enter_range(instrument=divider, quantity="voltage", unit="kV", low=0, high=1, by=tester)


def test_ranges_are_refused_with_crossed_ends_and_taken_away_with_a_reason(divider, quality_manager):
    for wrong in ({"low": 5, "high": 5}, {"low": float("nan"), "high": 1}, {"low": 0, "high": 1, "accuracy_pct": -1}):
        with pytest.raises(ValidationError):
            services.enter_range(instrument=divider, quantity="voltage", unit="kV", **wrong, by=quality_manager)
    row = divider.ranges.get()
    services.end_range(instrument=divider, range_id=row.pk, reason="rated anew", by=quality_manager)
    assert divider.ranges.count() == 0
    assert Entry.objects.order_by("-sequence").first().changes["range"] == ["0 to 100 kV", None]
