"""A request that may be done only once, and the answer it got."""

from __future__ import annotations

from django.db import models


class Submission(models.Model):
    """One form or API request under its once-key; written in the same transaction as what it did."""

    key = models.CharField(max_length=64, unique=True, help_text="SHA-256 of sender, path and once-key.")
    path = models.CharField(max_length=500)
    actor_id = models.CharField(max_length=64, null=True)
    fingerprint = models.CharField(max_length=64, blank=True, help_text="SHA-256 of what was sent, when it was read.")
    status = models.PositiveSmallIntegerField(null=True, help_text="Empty while the first request still answers.")
    location = models.CharField(max_length=2000, blank=True)
    body = models.JSONField(
        null=True, help_text="The answer's content type, text and hooks, for programs and fragments."
    )
    at = models.DateTimeField(auto_now_add=True, db_index=True)

    def __str__(self) -> str:
        return f"{self.path} {self.status or 'still answering'}"
