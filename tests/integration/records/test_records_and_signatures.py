"""Uploads, mappings, refusals and signatures."""

from __future__ import annotations

import hashlib
import io

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from PIL import Image

from labsite.jobs.models import Job
from labsite.jobs.services import run_waiting
from labsite.people.models import RoleGrant, User
from records.models import Evaluation, Record
from records.services import checks, runs, sets, sign_offs, uploads
from records.services.refusals import DigestMoved, NotAuthorised, Refused, UploadRefused, WrongState
from records.services.storing import absolute
from schedules.models import Authorisation
from tests.integration.records import laboratory

pytestmark = pytest.mark.django_db


def test_bytes_are_kept_under_their_digest_and_never_changed(prepared):
    way = prepared().open()
    content = laboratory.conforming().encode()
    record = way.upload(content, "../../evil name.csv").record
    assert record.sha256 == hashlib.sha256(content).hexdigest()
    assert record.path == f"records/{record.sha256[:2]}/{record.sha256}"
    assert absolute(record.path).read_bytes() == content
    assert absolute(record.path).stat().st_mode & 0o222 == 0
    assert record.given_name == "evil name.csv"
    assert list(absolute("records/incoming").iterdir()) == []


def test_the_same_bytes_twice_are_one_record(prepared):
    way = prepared().open()
    first = way.upload(laboratory.conforming())
    second = way.upload(laboratory.conforming(), "again.csv")
    assert (first.is_new, second.is_new) == (True, False)
    assert second.record == first.record
    assert second.words.endswith("Nothing was stored twice.")
    assert Record.objects.count() == Evaluation.objects.count() == Job.objects.count() == 1


def test_a_job_that_runs_again_changes_nothing(prepared):
    way = prepared().open()
    way.upload(laboratory.conforming())
    Job.objects.update(state="queued")
    assert run_waiting() == 1
    assert Evaluation.objects.count() == 1


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\x00\x01\x02\x03" * 400, "binary"),
        (b"Time (s),Voltage (kV),Charge (pC)\n0,0,1\n1,x,1\n2,0,1\n3,0,1\n", "3"),
        (b"Time (s),Voltage (kV),Charge (pC)\n0,0,1\n2,0,1\n1,0,1\n3,0,1\n", "earlier than the row before it"),
        (b"Time (s),Voltage (kV)\n0,0\n1,0\n2,0\n", "no column for the charge"),
    ],
)
def test_a_record_that_cannot_be_read_is_refused_in_words_and_kept(prepared, content, words):
    way = prepared().open()
    record = way.upload(content).record
    record.refresh_from_db()
    assert record.state == "refused"
    assert words in record.words
    assert way.now.state == "energised"
    assert absolute(record.path).read_bytes() == content
    assert way.upload(laboratory.conforming()).is_new
    assert way.now.state == "judged"


def test_empty_and_too_large_files_are_not_stored(prepared, settings):
    way = prepared().open()
    with pytest.raises(UploadRefused, match="is empty: 0 bytes"):
        way.upload(b"")
    settings.UPLOAD_LIMIT_BYTES = 1000
    with pytest.raises(UploadRefused, match="is larger than the"):
        way.upload(b"x" * 1001)
    assert not Record.objects.exists()
    assert list(absolute("records/incoming").iterdir()) == []


def test_a_record_needs_the_energised_stages_open(prepared):
    with pytest.raises(WrongState, match="stands at “Set-up”"):
        prepared().upload(laboratory.conforming())


def unnamed(seed: int = 1) -> str:
    """Return a record whose heads say nothing."""
    head, _, rest = laboratory.conforming(seed).partition("\n")
    assert head.startswith("Time")
    return "T,CH1,CH2\n" + rest


def test_columns_that_cannot_be_told_are_asked_for_and_remembered(prepared, start, unit, people, voltage_system):
    way = prepared().open()
    record = way.upload(unnamed()).record
    record.refresh_from_db()
    assert (record.state, way.now.state) == ("needs_mapping", "recorded")
    assert [column["head"] for column in record.summary["preview"]["columns"]] == ["T", "CH1", "CH2"]
    instrument = voltage_system.components.get().instrument
    mapping = {
        "time_s": {"column": "T", "unit": "s"},
        "voltage_kv": {"column": "CH1", "unit": "kV"},
        "charge_pc": {"column": "CH2", "unit": "pC"},
    }
    uploads.tell_columns(record=record, column_map=mapping, remember_for=instrument, by=way.operator)
    assert run_waiting() == 1
    assert (way.now.state, way.now.verdict) == ("judged", "conforms")
    systems = [use.system for use in way.now.instruments.all()]
    other = start(place=2).prepare(*systems).open()
    other.upload(unnamed(seed=5))
    assert other.now.verdict == "conforms"


def test_columns_that_were_understood_wrongly_are_told_before_the_signature(prepared, client):
    way = prepared().open()
    record = way.upload(laboratory.conforming(), "good.csv").record
    record.refresh_from_db()
    heads = {column["channel"]: column["head"] for column in record.summary["preview"]["columns"]}
    client.force_login(way.operator)
    page = client.get(f"{reverse('records:run', args=[way.run.pk])}?at=sign").content.decode()
    assert f'<a href="{reverse("records:mapping", args=[record.pk])}">good.csv</a>' in page
    page = client.get(reverse("records:mapping", args=[record.pk])).content.decode()
    assert "Is a column understood wrongly?" in page
    swapped = {"time_s": heads["time_s"], "voltage_kv": heads["charge_pc"], "charge_pc": heads["voltage_kv"]}
    sent = swapped | {"voltage_kv_unit": "kV", "charge_pc_unit": "pC"}
    client.post(reverse("records:mapping", args=[record.pk]), sent)
    run_waiting()
    assert way.now.verdict == "not_valid"  # a charge is no voltage that reaches the stages
    uploads.tell_columns(record=record, column_map=heads, by=way.operator)
    run_waiting()
    assert way.now.verdict == "conforms"
    way.sign()
    page = client.get(reverse("records:mapping", args=[record.pk])).content.decode()
    assert "Is a column understood wrongly?" not in page
    with pytest.raises(WrongState, match="nobody can tell the columns there"):
        uploads.tell_columns(record=record, column_map=swapped, by=way.operator)


def test_a_record_that_waits_for_columns_can_be_set_aside(prepared):
    way = prepared().open()
    record = way.upload(unnamed()).record
    sets.set_aside_record(record=record, reason="Another unit's file.", by=way.operator)
    record.refresh_from_db()
    assert (record.state, way.now.state) == ("set_aside", "energised")
    assert "Another unit's file." in record.words


def test_a_junk_file_after_a_judged_one_falls_back_on_it(prepared):
    way = prepared().open()
    way.upload(laboratory.conforming())
    way.upload(b"\x00\x01\x02" * 500)
    assert (way.now.state, way.now.verdict) == ("judged", "conforms")


def test_a_later_record_counts_and_both_stay(prepared):
    way = prepared().open()
    way.upload(laboratory.too_short())
    way.upload(laboratory.conforming())
    assert (way.now.state, way.now.verdict) == ("judged", "conforms")
    assert [row.verdict for row in Evaluation.objects.all()] == ["not_valid", "conforms"]


def test_what_changed_after_it_was_shown_is_not_signed(prepared):
    way = prepared().open()
    way.upload(laboratory.too_short())
    shown = sign_offs.run_digest(way.now)
    way.upload(laboratory.conforming())
    with pytest.raises(DigestMoved, match="Nothing was signed"):
        sign_offs.sign_run_as_tester(run=way.run, digest=shown, by=way.operator)
    assert way.now.state == "judged"


def test_only_the_operator_signs_and_nobody_reviews_own_work(prepared, approver, quality_manager):
    way = prepared().open()
    way.upload(laboratory.conforming())
    digest = sign_offs.run_digest(way.now)
    with pytest.raises(PermissionDenied, match="signed by its operator"):
        sign_offs.sign_run_as_tester(run=way.run, digest=digest, by=way.second)
    way.sign()
    assert sign_offs.run_digest(way.now) == digest
    with pytest.raises(PermissionDenied, match="Only an approver"):
        sign_offs.approve_run(run=way.run, digest=digest, by=quality_manager)
    with pytest.raises(PermissionDenied, match="Only an approver"):
        sign_offs.approve_run(run=way.run, digest=digest, by=way.operator)
    Authorisation.objects.filter(user=approver).delete()
    with pytest.raises(NotAuthorised, match="holds no authorisation to approve"):
        sign_offs.approve_run(run=way.run, digest=digest, by=approver)


def test_an_approver_who_took_part_does_not_review(prepared, unit, people, voltage_system, charge_system):
    second = people[1]
    RoleGrant.objects.create(user=second, role="approver")
    laboratory.authorise(second, activity="approve")
    way = prepared().open()
    way.upload(laboratory.conforming())
    way.sign()
    second = User.objects.get(pk=second.pk)
    with pytest.raises(PermissionDenied, match="took part in run"):
        sign_offs.approve_run(run=way.run, digest=sign_offs.run_digest(way.now), by=second)


def test_a_repeat_that_is_asked_for_opens_the_arrangement_again(prepared, start, approver):
    way = prepared().open()
    way.upload(laboratory.conforming())
    way.sign()
    sign_offs.ask_for_repeat(run=way.run, reason="The door stood open.", by=approver)
    assert way.now.state == "abandoned"
    assert "The door stood open." in start().run.repeat_reason


def test_nothing_is_added_to_an_approved_run(prepared):
    way = prepared().open()
    way.upload(laboratory.conforming())
    way.sign().approve()
    for deed in (
        lambda: runs.add_remark(run=way.run, text="Late.", by=way.operator),
        lambda: way.upload(laboratory.failing()),
        lambda: checks.confirm_safety(run=way.run, kind="earths", by=way.operator),
        lambda: runs.abandon_run(run=way.run, reason="Late.", by=way.operator),
    ):
        with pytest.raises(WrongState, match="stands at “Approved”"):
            deed()


def test_photographs_are_checked_and_marks_kept(prepared):
    way = prepared().open()
    buffer = io.BytesIO()
    Image.new("RGB", (8, 8)).save(buffer, "PNG")
    buffer.seek(0)
    photo = runs.add_photo(run=way.run, file=buffer, caption="Electrode", by=way.second)
    assert photo.sha256 == hashlib.sha256(buffer.getvalue()).hexdigest()
    with pytest.raises(Refused, match="no photograph"):
        runs.add_photo(run=way.run, file=io.BytesIO(b"<svg onload=x>"), caption="", by=way.second)
    mark = runs.mark_stage(run=way.run, stage="prestress", outcome="held", by=way.operator)
    assert str(mark) == "prestress: Held"
    with pytest.raises(Refused, match="no stage “other”"):
        runs.mark_stage(run=way.run, stage="other", outcome="held", by=way.operator)
