"""Organisations: the laboratory's own and its customers'."""

from __future__ import annotations

from django.db import models


class OrganisationQuerySet(models.QuerySet["Organisation"]):
    """Reads of organisations."""

    def visible_to(self, viewer) -> OrganisationQuerySet:
        """Return all for the laboratory and its administrator, else the viewer's own."""
        if viewer.is_laboratory or viewer.is_administrator:
            return self
        return self.filter(pk=viewer.organisation_id) if viewer.organisation_id else self.none()

    def for_list(self) -> OrganisationQuerySet:
        """Return with the number of accounts that are switched on, the laboratory first."""
        active = models.Count("users", filter=models.Q(users__is_active=True))
        return self.annotate(accounts=active).order_by("-is_laboratory", "name")

    def customers(self) -> OrganisationQuerySet:
        """Return those that buy."""
        return self.filter(is_laboratory=False)


class Organisation(models.Model):
    """One row: a company, the laboratory's own or a customer's."""

    name = models.CharField(max_length=200, unique=True)
    address = models.TextField(blank=True)
    is_laboratory = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name
