"""Lists of instruments that are about to be imported."""

from __future__ import annotations

from django.db import models


class InstrumentImportQuerySet(models.QuerySet["InstrumentImport"]):
    """Reads of imports."""

    def visible_to(self, viewer) -> InstrumentImportQuerySet:
        """Return all for the laboratory's own people, none for anyone else."""
        return self if viewer.is_laboratory else self.none()


class InstrumentImport(models.Model):
    """One row: one list as it was read, with what is wrong with it; imported whole or not at all."""

    given_name = models.CharField(max_length=255)
    sha256 = models.CharField(max_length=64)
    rows = models.JSONField()
    faults = models.JSONField(default=list)
    read_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    read_at = models.DateTimeField(auto_now_add=True)
    imported_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    imported_at = models.DateTimeField(null=True, blank=True)

    objects = InstrumentImportQuerySet.as_manager()

    class Meta:
        ordering = ("-pk",)

    def __str__(self) -> str:
        return self.given_name
