"""Calibrations as a program read them, before a person has confirmed them."""

from __future__ import annotations

from django.db import models


class CalibrationDraftQuerySet(models.QuerySet["CalibrationDraft"]):
    """Reads of drafts."""

    def visible_to(self, viewer) -> CalibrationDraftQuerySet:
        """Return all for the laboratory's own people, none for anyone else."""
        return self if viewer.is_laboratory else self.none()

    def waiting(self) -> CalibrationDraftQuerySet:
        """Return those that nobody has confirmed or set aside."""
        return self.filter(calibration__isnull=True, set_aside_at__isnull=True)

    def for_page(self) -> CalibrationDraftQuerySet:
        """Return with instrument, file and who read it."""
        return self.select_related("instrument", "file", "read_by", "calibration")


class CalibrationDraft(models.Model):
    """One row: what was read from one sheet, table or digital certificate; it counts for nothing until confirmed."""

    class Source(models.TextChoices):
        PASTED = "pasted", "Pasted from a sheet"
        TABLE = "table", "Read from a table"
        CERTIFICATE = "certificate", "Read from a digital certificate"

    instrument = models.ForeignKey("equipment.Instrument", on_delete=models.PROTECT, related_name="drafts")
    source = models.CharField(max_length=20, choices=Source.choices)
    file = models.ForeignKey(
        "equipment.InstrumentFile", on_delete=models.PROTECT, null=True, blank=True, related_name="drafts"
    )
    document = models.JSONField(help_text="What was read: fields of the certificate and its points")
    oddities = models.JSONField(default=list)
    read_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    read_at = models.DateTimeField(auto_now_add=True)
    calibration = models.OneToOneField(
        "equipment.Calibration", on_delete=models.PROTECT, null=True, blank=True, related_name="draft"
    )
    set_aside_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    set_aside_at = models.DateTimeField(null=True, blank=True)
    set_aside_reason = models.CharField(max_length=300, blank=True)

    objects = CalibrationDraftQuerySet.as_manager()

    class Meta:
        ordering = ("-pk",)

    def __str__(self) -> str:
        return f"{self.get_source_display()} for {self.instrument}"
