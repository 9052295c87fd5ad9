"""Units under test."""

from __future__ import annotations

from django.db import models


class UnitQuerySet(models.QuerySet["Unit"]):
    """Reads of units."""

    def visible_to(self, viewer) -> UnitQuerySet:
        """Return all for the laboratory, a customer's own for a customer, none for anyone else."""
        if viewer.is_laboratory:
            return self
        return self.filter(order__customer=viewer.organisation_id) if viewer.has_role("customer") else self.none()

    def for_list(self) -> UnitQuerySet:
        """Return with what a list shows."""
        return self.select_related("order__customer")

    def for_detail(self) -> UnitQuerySet:
        """Return with plans, steps, arrangements and photographs, and who made or released them."""
        return self.select_related("order__customer", "order__reviewed_by", "entered_by").prefetch_related(
            "photos__taken_by", "plans__made_by", "plans__steps__released_by", "plans__steps__arrangements"
        )


class Unit(models.Model):
    """One row: one serial number with its ratings; `finished_at` is set while a certificate of it is issued."""

    number = models.CharField(max_length=60, unique=True)
    order = models.ForeignKey("schedules.Order", on_delete=models.PROTECT, related_name="units")
    serial = models.CharField(max_length=80)
    equipment = models.CharField(max_length=40)
    design = models.CharField(max_length=80, blank=True)
    ratings = models.JSONField(default=dict)
    received_on = models.DateField(null=True, blank=True)
    condition = models.TextField(blank=True)
    entered_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)
    version = models.PositiveIntegerField(default=1)
    finished_at = models.DateTimeField(null=True, blank=True)

    objects = UnitQuerySet.as_manager()

    class Meta:
        ordering = ("-pk",)
        constraints = [models.UniqueConstraint(fields=["order", "serial"], name="a_serial_once_an_order")]

    def __str__(self) -> str:
        return self.serial


class UnitPhotoQuerySet(models.QuerySet["UnitPhoto"]):
    """Reads of photographs."""

    def visible_to(self, viewer) -> UnitPhotoQuerySet:
        """Return all for the laboratory, a customer's own for a customer, none for anyone else."""
        if viewer.is_laboratory:
            return self
        own = models.Q(unit__order__customer=viewer.organisation_id)
        return self.filter(own) if viewer.has_role("customer") else self.none()


class UnitPhoto(models.Model):
    """One row: one photograph of a unit, as it arrived or later."""

    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="photos")
    image = models.FileField(upload_to="photographs/")
    sha256 = models.CharField(max_length=64)
    caption = models.CharField(max_length=200, blank=True)
    taken_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField(auto_now_add=True)

    objects = UnitPhotoQuerySet.as_manager()

    def __str__(self) -> str:
        return self.caption or f"Photograph of {self.unit}"
