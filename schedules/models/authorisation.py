"""Authorisations (ISO/IEC 17025 6.2): who may perform or approve which kind of test, until when."""

from __future__ import annotations

from datetime import date

from django.db import models


class AuthorisationQuerySet(models.QuerySet["Authorisation"]):
    """Reads of authorisations."""

    def visible_to(self, viewer) -> AuthorisationQuerySet:
        """Return all for the laboratory and its administrator, none for anyone else."""
        return self if viewer.is_laboratory or viewer.is_administrator else self.none()

    def for_list(self) -> AuthorisationQuerySet:
        """Return with the people in it."""
        return self.select_related("user", "granted_by")

    def matching(self, words: str) -> AuthorisationQuerySet:
        """Return those of people whose name contains every word."""
        found = self
        for word in words.split():
            found = found.filter(user__name__icontains=word)
        return found

    def valid_on(self, day: date) -> AuthorisationQuerySet:
        """Return those that hold on the day."""
        return self.filter(valid_from__lte=day, valid_until__gte=day)


class Authorisation(models.Model):
    """One row: one person, one kind of test, one activity, from one day to another, both included."""

    class Activity(models.TextChoices):
        PERFORM = "perform", "Perform"
        APPROVE = "approve", "Approve"

    user = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="authorisations")
    kind = models.CharField(max_length=40)
    activity = models.CharField(max_length=10, choices=Activity.choices)
    valid_from = models.DateField()
    valid_until = models.DateField()
    granted_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    version = models.PositiveIntegerField(default=1, db_default=1)

    objects = AuthorisationQuerySet.as_manager()

    class Meta:
        ordering = ("user__name", "kind", "activity")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(valid_until__gte=models.F("valid_from")), name="authorisation_ends_after_start"
            )
        ]

    def __str__(self) -> str:
        return f"{self.user} may {self.activity} {self.kind} until {self.valid_until}"
