"""Invitations of witnesses."""

from __future__ import annotations

from datetime import datetime

from django.db import models


class InvitationQuerySet(models.QuerySet["WitnessInvitation"]):
    """Reads of invitations."""

    def visible_to(self, viewer) -> InvitationQuerySet:
        """Return all for the laboratory, a witness's own for a witness, none for anyone else."""
        if viewer.is_laboratory:
            return self
        return self.filter(user=viewer) if viewer.has_role("witness") else self.none()

    def open_at(self, moment: datetime) -> InvitationQuerySet:
        """Return those neither revoked nor expired."""
        return self.filter(revoked_at__isnull=True, expires_at__gt=moment)


class WitnessInvitation(models.Model):
    """One row: one person invited to see one run and sign what was seen, until it expires."""

    run = models.ForeignKey("records.Run", on_delete=models.PROTECT, related_name="invitations")
    name = models.CharField(max_length=120)
    company = models.CharField(max_length=200, blank=True)
    email = models.EmailField()
    user = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="invitations")
    token_digest = models.CharField(max_length=64, unique=True)
    code_digest = models.CharField(max_length=128)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    signed_at = models.DateTimeField(null=True, blank=True)
    failed_codes = models.PositiveIntegerField(default=0)
    invited_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    invited_at = models.DateTimeField(auto_now_add=True)

    objects = InvitationQuerySet.as_manager()

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"{self.name} for {self.run}"

    @property
    def actor_label(self) -> str:
        """Return the name as the ledger prints it."""
        return f"{self.name} <{self.email}> (witness)"
