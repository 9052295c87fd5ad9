"""Jobs are enqueued, claimed, carried out, and swept up after a crash."""

from labsite.jobs.errors import JobRefused, LeaseLost, UnknownJob
from labsite.jobs.services.leases import Claim, claim, completing, fail
from labsite.jobs.services.progress import Progress
from labsite.jobs.services.queueing import enqueue, retry_job, wake_up
from labsite.jobs.services.running import run_job, run_waiting
from labsite.jobs.services.sweeping import sweep

__all__ = [
    "Claim",
    "JobRefused",
    "LeaseLost",
    "Progress",
    "UnknownJob",
    "claim",
    "completing",
    "enqueue",
    "fail",
    "retry_job",
    "run_job",
    "run_waiting",
    "sweep",
    "wake_up",
]
