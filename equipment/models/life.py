"""The life of an instrument: its states day by day, and the log of what was done to it."""

from __future__ import annotations

from django.db import models

from equipment.models.instrument import Instrument


class StateChange(models.Model):
    """One row: the state an instrument is in from one moment on, and why; entered in any order, never changed."""

    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="state_changes")
    state = models.CharField(max_length=20, choices=Instrument.State.choices)
    on = models.DateField()
    at = models.DateTimeField(help_text="Orders the changes of one day")
    reason = models.CharField(max_length=300)
    entered_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("at", "pk")
        constraints = [models.CheckConstraint(condition=~models.Q(reason=""), name="a_state_change_has_a_reason")]

    def __str__(self) -> str:
        return f"{self.get_state_display()} from {self.on}"


class LogEntry(models.Model):
    """One row: one thing that was done to an instrument or befell it, or who keeps it from a day on."""

    class Kind(models.TextChoices):
        MAINTENANCE = "maintenance", "Maintenance"
        CHECK = "check", "Check"
        DAMAGE = "damage", "Damage"
        REPAIR = "repair", "Repair"
        MODIFICATION = "modification", "Modification"
        SOFTWARE = "software", "Software or firmware"
        CUSTODY = "custody", "Custody"

    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="log")
    kind = models.CharField(max_length=20, choices=Kind.choices)
    on = models.DateField()
    text = models.TextField()
    entered_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("-on", "-pk")

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.on}"


class InstrumentFile(models.Model):
    """One row: one file of an instrument or of one of its calibrations, kept byte for byte."""

    class Kind(models.TextChoices):
        CERTIFICATE = "certificate", "Calibration certificate"
        TABLE = "table", "Table or data file of a calibration"
        MANUAL = "manual", "Manual"
        PHOTOGRAPH = "photograph", "Photograph"
        OTHER = "other", "Other"

    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="files")
    calibration = models.ForeignKey(
        "equipment.Calibration", on_delete=models.PROTECT, null=True, blank=True, related_name="files"
    )
    kind = models.CharField(max_length=20, choices=Kind.choices)
    given_name = models.CharField(max_length=255)
    path = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    added_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("-pk",)

    def __str__(self) -> str:
        return self.given_name
