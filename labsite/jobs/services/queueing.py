"""Puts a job on the table, and wakes a worker once the deed that asked for it is kept."""

from __future__ import annotations

import logging
import uuid
from typing import Any

from django.db import models, transaction
from django.utils import timezone

from labsite.jobs.errors import JobRefused
from labsite.jobs.models import Job, JobState
from labsite.jobs.registry import registered
from labsite.ledger.services import record_entry, writing

log = logging.getLogger(__name__)


def enqueue(*, name: str, args: dict[str, Any], key: str, by: Any) -> Job:
    """Return the job under `key`, putting it on the table when it is new, in the caller's transaction.

    `args` holds ids, not contents. A worker is woken after commit; when that fails the sweeper does it.
    """
    registered(name)
    account = by if isinstance(by, models.Model) and getattr(by, "is_authenticated", False) else None
    with writing():
        now = timezone.now()
        found, is_new = Job.objects.get_or_create(
            key=key,
            defaults={"name": name, "args": args, "created_by": account, "created_at": now, "last_woken_at": now},
        )
        if is_new:
            _wake_after_commit(found.pk)
        return found


def retry_job(*, job: Job, by: Any) -> Job:
    """Put a job that did not finish back on the table."""
    with writing():
        now = timezone.now()
        waiting = {"state": JobState.QUEUED, "attempts": 0, "stage": "", "progress": 0, "words": ""}
        is_back = Job.objects.filter(pk=job.pk, state=JobState.FAILED).update(
            **waiting, fence=models.F("fence") + 1, lease_until=None, finished_at=None, last_woken_at=now
        )
        if not is_back:
            raise JobRefused(
                "Only a job that did not finish can be started again. This one is waiting, running or done."
            )
        record_entry(action="jobs.retry_job", subject=job, changes={"state": ["failed", "queued"]}, by=by)
        _wake_after_commit(job.pk)
    job.refresh_from_db()
    return job


def _wake_after_commit(job_id: uuid.UUID) -> None:
    transaction.on_commit(lambda: wake_up(job_id), robust=True)


def wake_up(job_id: uuid.UUID) -> bool:
    """Send the message that wakes a worker; say whether it went out. It never raises: the sweeper repeats it."""
    from labsite.jobs.tasks import wake

    try:
        wake.delay(str(job_id))
    except Exception as error:  # the transport raises anything; the job is safe on the table
        log.warning("No worker could be woken for job %s (%s); the sweeper will do it.", job_id, error)
        return False
    return True
