"""Tokens by which a program speaks to the API in a person's name."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class AccessTokenQuerySet(models.QuerySet["AccessToken"]):
    """Reads of tokens."""

    def visible_to(self, viewer) -> AccessTokenQuerySet:
        """Return all for the administrator, else the viewer's own."""
        return self if viewer.is_administrator else self.filter(user=viewer)

    def of(self, user) -> AccessTokenQuerySet:
        """Return the tokens of one person, the newest first."""
        return self.filter(user=user).select_related("user").order_by("-made_at", "-pk")


class AccessToken(models.Model):
    """One row: one token, of which only the SHA-256 is kept."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="access_tokens")
    label = models.CharField(max_length=80)
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(auto_now_add=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = AccessTokenQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.label} of {self.user}"
