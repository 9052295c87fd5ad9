"""Carries a job out once, whatever happens to it on the way."""

from __future__ import annotations

import logging
import secrets
import time
import uuid

from celery.exceptions import SoftTimeLimitExceeded
from django.core.exceptions import ValidationError
from django.db import InterfaceError, OperationalError
from django.db.models import Q
from django.utils import timezone

from labsite.jobs.errors import LeaseLost
from labsite.jobs.models import Job, JobState
from labsite.jobs.registry import registered
from labsite.jobs.services import leases
from labsite.jobs.services.progress import Heartbeat, Progress

log = logging.getLogger(__name__)
DRAIN_S = 60.0


def run_job(job_id: uuid.UUID | str) -> bool:
    """Claim and carry out one job; say whether this worker finished it."""
    taken = leases.claim(job_id)
    return taken is not None and _carry_out(taken)


def run_waiting(within_s: float = DRAIN_S) -> int:
    """Carry out what waits, oldest first, until nothing does or the time is up; return how many were finished."""
    until, tried, finished = time.monotonic() + within_s, set[uuid.UUID](), 0
    while time.monotonic() < until:
        waiting = Q(state=JobState.QUEUED) | Q(state=JobState.RUNNING, lease_until__lt=timezone.now())
        found = Job.objects.filter(waiting).exclude(pk__in=tried).values_list("pk", flat=True).first()
        if found is None:
            break
        tried.add(found)
        finished += run_job(found)
    return finished


def _carry_out(taken: leases.Claim) -> bool:
    progress = Progress(taken)
    try:
        with Heartbeat(progress):
            registered(taken.name).run(progress, taken.args)
            if not progress.is_completed:
                with progress.completing():
                    pass
    except LeaseLost as late:
        log.warning("%s Nothing was stored by this one.", late)
        return False
    except (OperationalError, InterfaceError):
        log.exception("The database was lost during job %s; it is taken up again when its lease ends.", taken.job_id)
        return False
    except Exception as error:  # a job may raise anything; people get words, the log gets the rest
        leases.fail(taken, words_of(error, taken))
        return False
    return True


def words_of(error: Exception, taken: leases.Claim) -> str:
    """Return what people are told: the error's own words, or an incident number that the log explains."""
    if isinstance(words := getattr(error, "words", None), str):
        return words
    if isinstance(error, ValidationError):
        return " ".join(error.messages)
    if isinstance(error, SoftTimeLimitExceeded):
        return "This took longer than a job may take. Nothing was stored. Send a shorter record."
    incident = secrets.token_hex(6)
    log.error("Incident %s: job %s (%s) failed.", incident, taken.job_id, taken.name, exc_info=error)
    return f"Something went wrong that was not foreseen (incident {incident}). Nothing was stored. Start it again."
