"""What Celery calls: one task that wakes a worker for a job, one that sweeps up."""

from __future__ import annotations

from typing import Any

from celery.signals import worker_ready

from labsite.celery import app
from labsite.jobs.services.running import run_job, run_waiting
from labsite.jobs.services.sweeping import sweep as sweep_jobs


@app.task(name="jobs.wake")
def wake(job_id: str) -> None:
    """Carry out this job, then whatever else waits: a message that was lost costs nothing."""
    run_job(job_id)
    run_waiting()


@app.task(name="jobs.sweep", expires=10)
def sweep() -> None:
    """Wake workers again where a message or a worker was lost."""
    sweep_jobs()


@worker_ready.connect
def sweep_at_start(**about: Any) -> None:
    """A worker that starts looks at once for what its predecessor left."""
    sweep.delay()
