"""Certificates."""

from __future__ import annotations

from django.db import models


class CertificateQuerySet(models.QuerySet["Certificate"]):
    """Reads of certificates."""

    def visible_to(self, viewer) -> CertificateQuerySet:
        """Return all for the laboratory, the issued of their own for a customer, none for anyone else."""
        if viewer.is_laboratory:
            return self
        if viewer.has_role("customer"):
            return self.filter(unit__order__customer=viewer.organisation_id, issued_at__isnull=False)
        return self.none()

    def for_list(self) -> CertificateQuerySet:
        """Return with what a list shows."""
        return self.select_related("unit__order__customer", "issued_by", "replaces")


class Certificate(models.Model):
    """One row: one certificate of one unit; once issued it is amended or withdrawn, never edited."""

    class State(models.TextChoices):
        COMPOSING = "composing", "Being composed"
        DRAFT = "draft", "Draft"
        ISSUED = "issued", "Issued"
        SUPERSEDED = "superseded", "Replaced by an amendment"
        WITHDRAWN = "withdrawn", "Withdrawn"

    number = models.CharField(max_length=60, unique=True)
    unit = models.ForeignKey("schedules.Unit", on_delete=models.PROTECT, related_name="certificates")
    state = models.CharField(max_length=20, choices=State.choices, default=State.COMPOSING)
    document = models.JSONField(default=dict)
    document_digest = models.CharField(max_length=64, blank=True)
    draft_path = models.CharField(max_length=200, blank=True)
    path = models.CharField(max_length=200, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by")
    reason = models.TextField(blank=True)
    requested_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    requested_at = models.DateTimeField(auto_now_add=True)
    issued_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    issued_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawal_reason = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)

    objects = CertificateQuerySet.as_manager()

    class Meta:
        ordering = ("-pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(issued_by__isnull=True, issued_at__isnull=True)
                | models.Q(issued_by__isnull=False, issued_at__isnull=False),
                name="issue_has_who_and_when",
            )
        ]

    def __str__(self) -> str:
        return self.number
