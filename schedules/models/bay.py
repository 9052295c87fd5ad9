"""Test bays and the sources in them."""

from __future__ import annotations

from django.db import models


class BayQuerySet(models.QuerySet["Bay"]):
    """Reads of bays."""

    def visible_to(self, viewer) -> BayQuerySet:
        """Return all for the laboratory and its administrator, none for anyone else."""
        return self if viewer.is_laboratory or viewer.is_administrator else self.none()


class Bay(models.Model):
    """One row: one test area with what its source can do, its direct-voltage source and impulse generator if any."""

    name = models.CharField(max_length=60, unique=True)
    source_kv = models.FloatField()
    source_kva = models.FloatField()
    frequency_hz = models.FloatField(default=50)
    residual_discharge_pc = models.FloatField(default=5)
    generator_kv = models.FloatField("impulse generator, kV", null=True, blank=True)
    generator_kj = models.FloatField("impulse generator, kJ", null=True, blank=True)
    direct_kv = models.FloatField("direct-voltage source, kV", null=True, blank=True)
    direct_ma = models.FloatField("direct-voltage source, mA", null=True, blank=True)
    version = models.PositiveIntegerField(default=1, db_default=1)

    objects = BayQuerySet.as_manager()

    class Meta:
        ordering = ("name",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(direct_kv__isnull=True, direct_ma__isnull=True)
                | models.Q(direct_kv__isnull=False, direct_ma__isnull=False, direct_kv__gt=0, direct_ma__gt=0),
                name="direct_source_has_voltage_and_current",
            )
        ]

    def __str__(self) -> str:
        return self.name
