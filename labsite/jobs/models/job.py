"""One piece of background work: the row is the truth, messages only point at it."""

from __future__ import annotations

import uuid
from typing import Any

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models


class JobState(models.TextChoices):
    QUEUED = "queued", "Waiting"
    RUNNING = "running", "Running"
    DONE = "done", "Done"
    FAILED = "failed", "Not finished"


class JobQuerySet(models.QuerySet["Job"]):
    def visible_to(self, viewer: Any) -> JobQuerySet:
        """Return what the viewer may see: his own jobs, and all of them for the laboratory."""
        if not (getattr(viewer, "is_authenticated", False) and viewer.is_active):
            return self.none()
        if getattr(viewer, "is_laboratory", False) or getattr(viewer, "is_administrator", False):
            return self
        return self.filter(created_by=viewer.pk)


class Job(models.Model):
    """A job's name, the ids it is about, and how far it is. `fence` grows with each claim: only the last may finish."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=100)
    args = models.JSONField(default=dict, help_text="Ids only; the job fetches what they stand for.")
    key = models.CharField(max_length=200, unique=True, help_text="The same deed has the same key and is done once.")
    state = models.CharField(max_length=8, choices=JobState, default=JobState.QUEUED)
    fence = models.PositiveIntegerField(default=0)
    lease_until = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    stage = models.CharField(max_length=100, blank=True)
    progress = models.PositiveSmallIntegerField(default=0, validators=[MaxValueValidator(100)])
    words = models.TextField(blank=True, help_text="What happened, for people.")
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    last_woken_at = models.DateTimeField(null=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["created_at", "id"]
        indexes = [models.Index(fields=["state", "created_at"], name="jobs_job_waiting")]

    def __str__(self) -> str:
        return f"{self.name} ({self.get_state_display().lower()})"

    @property
    def is_over(self) -> bool:
        """Say whether nothing more will happen by itself."""
        return self.state in {JobState.DONE, JobState.FAILED}
