"""One thing that was done: by whom, when, to what, from which value to which, and why."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models

from labsite.ledger import canonical, merkle

FIRST_PREVIOUS = "0" * 64


class Entry(models.Model):
    """A line of the ledger. Never changed, never removed; triggers refuse it and the digests show it."""

    append_only = True

    sequence = models.BigIntegerField(primary_key=True, help_text="1, 2, 3 and so on, without a gap.")
    at = models.DateTimeField(db_index=True)
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    actor_label = models.CharField(max_length=200, help_text="The name as it was printed, also for witnesses.")
    action = models.CharField(max_length=100, db_index=True)
    subject_type = models.CharField(max_length=100)
    subject_id = models.CharField(max_length=64)
    subject_label = models.CharField(max_length=200)
    changes = models.JSONField(default=dict, help_text="Field: [old, new].")
    reason = models.TextField(blank=True)
    request_id = models.CharField(max_length=64, blank=True)
    previous_digest = models.CharField(max_length=64)
    digest = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ["sequence"]
        verbose_name_plural = "entries"
        indexes = [models.Index(fields=["subject_type", "subject_id", "sequence"], name="ledger_entry_subject")]

    def __str__(self) -> str:
        return f"{self.sequence} {self.action} {self.subject_label}"

    def content(self) -> dict[str, Any]:
        """Return every field the digest covers."""
        return {
            "sequence": self.sequence,
            "at": canonical.instant(self.at),
            "actor": None if self.actor_id is None else str(self.actor_id),
            "actor_label": self.actor_label,
            "action": self.action,
            "subject_type": self.subject_type,
            "subject_id": self.subject_id,
            "subject_label": self.subject_label,
            "changes": self.changes,
            "reason": self.reason,
            "request_id": self.request_id,
            "previous_digest": self.previous_digest,
        }

    def computed_digest(self) -> str:
        """Return the leaf hash (RFC 9162) of the canonical content (RFC 8785), in hex."""
        return merkle.leaf_hash(canonical.canonical_bytes(self.content())).hex()
