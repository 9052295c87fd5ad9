"""A worker holds a job by a lease and a fence: whoever comes late stores nothing."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from labsite.jobs.errors import LeaseLost
from labsite.jobs.models import Job, JobState
from labsite.ledger.services import writing

LEASE = timedelta(seconds=8)
MOST_ATTEMPTS = 10
_GIVEN_UP = (
    f"The worker stopped {MOST_ATTEMPTS} times while doing this, so it was set aside. Nothing was stored. "
    "Start it again; if it stops again, the file or the amount of data is more than this machine can hold."
)


@dataclass(frozen=True)
class Claim:
    """A job in this worker's hands, with the fence it got."""

    job_id: uuid.UUID
    fence: int
    name: str = ""
    args: dict[str, Any] = field(default_factory=dict)


def claim(job_id: uuid.UUID | str) -> Claim | None:
    """Take a job that waits, or whose worker's lease has ended; None when somebody else has it or it is over."""
    now = timezone.now()
    is_free = Q(state=JobState.QUEUED) | Q(state=JobState.RUNNING, lease_until__lt=now)
    with transaction.atomic():
        is_taken = Job.objects.filter(is_free, pk=job_id).update(
            state=JobState.RUNNING,
            fence=F("fence") + 1,
            attempts=F("attempts") + 1,
            lease_until=now + LEASE,
            started_at=now,
            stage="",
            progress=0,
        )
        if not is_taken:
            return None
        row = Job.objects.get(pk=job_id)
        taken = Claim(row.pk, row.fence, row.name, row.args)
        if row.attempts > MOST_ATTEMPTS:
            fail(taken, _GIVEN_UP)
            return None
        return taken


def _held(taken: Claim) -> Any:
    return Job.objects.filter(pk=taken.job_id, fence=taken.fence, state=JobState.RUNNING)


def renew(taken: Claim, **said: Any) -> None:
    """Extend the lease and note what is `said` (stage, progress); raise `LeaseLost` when another holds the job."""
    if not _held(taken).update(lease_until=timezone.now() + LEASE, **said):
        raise LeaseLost(f"Job {taken.job_id} was taken over by another worker.")


@contextmanager
def completing(taken: Claim, words: str = "") -> Iterator[None]:
    """Open the one transaction that stores a job's results and marks it done; a late finisher stores nothing."""
    with writing():
        renew(taken)
        yield
        over = {"state": JobState.DONE, "progress": 100, "words": words, "finished_at": timezone.now()}
        if not _held(taken).update(**over, lease_until=None):
            raise LeaseLost(f"Job {taken.job_id} was taken over by another worker.")


def fail(taken: Claim, words: str) -> bool:
    """Note that the job did not finish and why, if it is still ours."""
    over = {"state": JobState.FAILED, "words": words, "finished_at": timezone.now(), "lease_until": None}
    return bool(_held(taken).update(**over))
