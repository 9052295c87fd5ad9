"""What must be done in the background."""

from labsite.jobs.models.job import Job, JobState

__all__ = ["Job", "JobState"]
