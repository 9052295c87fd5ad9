"""Wakes workers again for jobs whose message or worker was lost."""

from __future__ import annotations

from datetime import timedelta

from django.db.models import Q
from django.utils import timezone

from labsite.jobs.models import Job, JobState
from labsite.jobs.services.queueing import wake_up

PATIENCE = timedelta(seconds=2)
MOST_AT_ONCE = 20  # workers look for further ones themselves


def sweep() -> int:
    """Wake a worker for what was not taken up for two seconds or whose lease has ended; return how many."""
    now = timezone.now()
    long_ago = now - PATIENCE
    is_forgotten = Q(state=JobState.QUEUED) & (Q(last_woken_at__lt=long_ago) | Q(last_woken_at=None))
    is_orphaned = Q(state=JobState.RUNNING, lease_until__lt=now)
    found = list(Job.objects.filter(is_forgotten | is_orphaned).values_list("pk", flat=True)[:MOST_AT_ONCE])
    Job.objects.filter(pk__in=found).update(last_woken_at=now)
    return sum(wake_up(job_id) for job_id in found)
