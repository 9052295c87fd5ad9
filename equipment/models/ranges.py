"""What an instrument measures: its ranges, their resolution, and the accuracy that the laboratory requires of it."""

from __future__ import annotations

from django.db import models

from equipment.models.instrument import Instrument, Quantity


class InstrumentRange(models.Model):
    """One row: one quantity over one range, with resolution and the largest error that the laboratory allows.

    The largest permissible error at a reference value x is accuracy_pct / 100 · |x| + accuracy_absolute.
    """

    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="ranges")
    quantity = models.CharField(max_length=20, choices=Quantity.choices)
    unit = models.CharField(max_length=12)
    low = models.FloatField()
    high = models.FloatField()
    resolution = models.FloatField(null=True, blank=True)
    accuracy_pct = models.FloatField(null=True, blank=True, help_text="Of the reference value")
    accuracy_absolute = models.FloatField(null=True, blank=True, help_text="In the unit of the range")
    remarks = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("quantity", "unit", "low")
        constraints = [
            models.CheckConstraint(condition=models.Q(high__gt=models.F("low")), name="a_range_has_two_ends"),
            models.UniqueConstraint(fields=["instrument", "quantity", "unit", "low", "high"], name="a_range_once"),
        ]

    def __str__(self) -> str:
        return f"{self.low:g} to {self.high:g} {self.unit}"

    @property
    def has_accuracy(self) -> bool:
        """Say whether the laboratory requires an accuracy here."""
        return self.accuracy_pct is not None or self.accuracy_absolute is not None
