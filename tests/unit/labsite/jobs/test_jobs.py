"""A job is put on the table once, held by one worker, and its results are stored once or not at all."""

from __future__ import annotations

import logging
from datetime import timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.db import OperationalError
from django.utils import timezone

from labsite.jobs import registry
from labsite.jobs.models import Job, JobState
from labsite.jobs.services import (
    JobRefused,
    LeaseLost,
    Progress,
    UnknownJob,
    claim,
    completing,
    enqueue,
    leases,
    queueing,
    retry_job,
    run_job,
    run_waiting,
    sweep,
    sweeping,
)
from labsite.ledger.models import Entry
from labsite.ledger.services import record_entry, writing

pytestmark = pytest.mark.django_db


@pytest.fixture
def register(monkeypatch):
    """Register jobs for one test only."""
    monkeypatch.setattr(registry, "_registered", dict(registry._registered))
    return registry.job


@pytest.fixture
def woken(monkeypatch):
    """Catch the messages that would wake a worker."""
    sent: list = []
    monkeypatch.setattr(queueing, "wake_up", lambda job_id: sent.append(job_id) or True)
    monkeypatch.setattr(sweeping, "wake_up", lambda job_id: sent.append(job_id) or True)
    return sent


@pytest.fixture
def note(register):
    """A job that writes one entry."""

    @register("demo.note", stages=("Reading", "Storing"))
    def note(progress: Progress, thing: int) -> None:
        progress.stage("Reading", 40)
        with progress.completing("Noted."):
            _effect(thing)

    return note


def _effect(thing: int) -> None:
    record_entry(action="demo.noted", subject=("demo.thing", thing, f"Thing {thing}"), by="Worker")


def _put(thing: int = 1, name: str = "demo.note") -> Job:
    return enqueue(name=name, args={"thing": thing}, key=f"{name}:{thing}", by="A. Witness")


def test_the_same_key_is_one_job_and_one_wake_up(note, woken, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        first, second = _put(), _put()
    assert first == second
    assert woken == [first.pk]
    assert Job.objects.count() == 1


def test_a_job_goes_with_the_deed_that_asked_for_it(note, woken, django_capture_on_commit_callbacks):
    def deed() -> None:
        with writing():
            _put()
            raise RuntimeError("stop")

    with django_capture_on_commit_callbacks(execute=True), pytest.raises(RuntimeError, match="stop"):
        deed()
    assert not Job.objects.exists()
    assert woken == []


def test_an_unknown_job_is_refused():
    with pytest.raises(UnknownJob, match=r"demo\.nothing"):
        _put(name="demo.nothing")


def test_a_lost_transport_costs_nothing(note, monkeypatch, django_capture_on_commit_callbacks, caplog):
    from labsite.jobs.tasks import wake

    def no_transport(*args: str) -> None:
        raise ConnectionError("refused")

    monkeypatch.setattr(wake, "delay", no_transport)
    with django_capture_on_commit_callbacks(execute=True):
        job = _put()
    assert "the sweeper will do it" in caplog.text
    assert Job.objects.get(pk=job.pk).state == JobState.QUEUED


def test_a_job_is_done_once_with_its_results(note):
    job = _put()
    assert run_job(job.pk)
    assert not run_job(job.pk)
    job.refresh_from_db()
    assert (job.state, job.progress, job.words, job.attempts) == (JobState.DONE, 100, "Noted.", 1)
    assert Entry.objects.filter(action="demo.noted").count() == 1


def test_a_handler_that_stores_nothing_is_done_when_it_returns(register):
    register("demo.quiet")(lambda progress, thing: None)
    job = _put(name="demo.quiet")
    assert run_job(job.pk)
    job.refresh_from_db()
    assert job.state == JobState.DONE


def test_a_held_job_is_not_claimed_again_before_its_lease_ends(note):
    job = _put()
    first = claim(job.pk)
    assert first is not None
    assert claim(job.pk) is None
    with time_machine.travel(timezone.now() + leases.LEASE + timedelta(seconds=1), tick=False):
        second = claim(job.pk)
    assert second is not None
    assert second.fence == first.fence + 1


def test_the_late_finisher_stores_nothing(note):
    job = _put()
    late = claim(job.pk)
    Job.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    assert run_job(job.pk)
    with pytest.raises(LeaseLost), completing(late):
        _effect(1)
    with pytest.raises(LeaseLost):
        Progress(late).stage("Reading", 10)
    assert not leases.fail(late, "late")
    assert Entry.objects.filter(action="demo.noted").count() == 1


def test_a_lease_taken_during_the_work_leaves_nothing_of_the_first(register):
    @register("demo.slow")
    def slow(progress: Progress, thing: int) -> None:
        with progress.completing():
            _effect(thing)
            Job.objects.update(fence=99)

    job = _put(name="demo.slow")
    assert not run_job(job.pk)
    job.refresh_from_db()
    assert (job.state, job.fence) == (JobState.RUNNING, 1)
    assert not Entry.objects.filter(action="demo.noted").exists()


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (JobRefused("The file has no voltage column. Name it and start again."), "The file has no voltage column."),
        (ValidationError("Two records are missing."), "Two records are missing."),
    ],
)
def test_a_known_reason_is_told_in_its_own_words(register, error, words):
    @register("demo.refuse")
    def refuse(progress: Progress, thing: int) -> None:
        raise error

    job = _put(name="demo.refuse")
    assert not run_job(job.pk)
    job.refresh_from_db()
    assert job.state == JobState.FAILED
    assert job.words.startswith(words)


def test_an_unknown_reason_gets_an_incident_number_that_the_log_explains(register, caplog):
    @register("demo.break")
    def break_down(progress: Progress, thing: int) -> None:
        with progress.completing():
            _effect(thing)
            raise KeyError("secret detail")

    job = _put(name="demo.break")
    with caplog.at_level(logging.ERROR):
        run_job(job.pk)
    job.refresh_from_db()
    incident = job.words.split("incident ")[1][:12]
    assert incident in caplog.text
    assert "secret detail" not in job.words
    assert not Entry.objects.filter(action="demo.noted").exists()


def test_a_lost_database_leaves_the_job_to_the_sweeper(register):
    @register("demo.lost")
    def lost(progress: Progress, thing: int) -> None:
        raise OperationalError("server closed the connection")

    job = _put(name="demo.lost")
    assert not run_job(job.pk)
    job.refresh_from_db()
    assert job.state == JobState.RUNNING


def test_a_job_that_kills_its_workers_is_set_aside_with_words(note):
    job = _put()
    Job.objects.update(attempts=leases.MOST_ATTEMPTS)
    assert not run_job(job.pk)
    job.refresh_from_db()
    assert job.state == JobState.FAILED
    assert "stopped 10 times" in job.words


def test_a_failed_job_is_started_again_by_a_person_and_no_other(note, woken, django_capture_on_commit_callbacks):
    job = _put()
    with pytest.raises(JobRefused, match="waiting, running or done"):
        retry_job(job=job, by="A. Witness")
    leases.fail(claim(job.pk), "No.")
    with django_capture_on_commit_callbacks(execute=True):
        again = retry_job(job=job, by="A. Witness")
    assert (again.state, again.words, woken) == (JobState.QUEUED, "", [job.pk])
    assert Entry.objects.filter(action="jobs.retry_job", actor_label="A. Witness").count() == 1


def test_the_sweeper_wakes_for_the_forgotten_and_the_orphaned_only(note, woken):
    now = timezone.now()
    forgotten, orphaned, fresh, held, over = (_put(number) for number in range(5))
    claim(orphaned.pk), claim(held.pk), run_job(over.pk)
    Job.objects.filter(pk__in=[forgotten.pk, over.pk]).update(last_woken_at=now - timedelta(seconds=3))
    Job.objects.filter(pk=orphaned.pk).update(lease_until=now - timedelta(seconds=1))
    assert sweep() == 2
    assert set(woken) == {forgotten.pk, orphaned.pk}
    assert fresh.pk not in woken


def test_a_worker_looks_for_what_waits_oldest_first(note):
    for number in range(5):
        _put(number)
    assert run_waiting() == 5
    subjects = Entry.objects.filter(action="demo.noted").values_list("subject_id", flat=True)
    assert list(subjects) == ["0", "1", "2", "3", "4"]


def test_a_name_is_registered_once(register):
    register("demo.one")(lambda progress: None)

    def other(progress: Progress) -> None:
        """Do something else."""

    with pytest.raises(ValueError, match="registered twice"):
        register("demo.one")(other)
