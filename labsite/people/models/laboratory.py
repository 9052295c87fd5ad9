"""The laboratory itself, as certificates and numbers name it."""

from __future__ import annotations

from django.db import models


class Laboratory(models.Model):
    """One row, the only one: name, address, logo and the patterns of numbers; `{year}` and `{n:04d}` are filled in."""

    name = models.CharField(max_length=200)
    address = models.TextField()
    logo = models.FileField(upload_to="laboratory/", blank=True)
    order_pattern = models.CharField(max_length=60, default="O-{year}-{n:04d}")
    unit_pattern = models.CharField(max_length=60, default="U-{n:05d}")
    run_pattern = models.CharField(max_length=60, default="R-{year}-{n:05d}")
    certificate_pattern = models.CharField(max_length=60, default="C-{year}-{n:04d}")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name_plural = "laboratories"
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="one_laboratory")]

    def __str__(self) -> str:
        return self.name


class NumberCounter(models.Model):
    """One row: the last number given in one series (`order`, `unit`, `run`, `certificate`) of one year."""

    series = models.CharField(max_length=20)
    year = models.PositiveIntegerField()
    last = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["series", "year"], name="one_counter_a_series_and_year")]

    def __str__(self) -> str:
        return f"{self.series} {self.year}: {self.last}"
