"""Instruments."""

from __future__ import annotations

from django.db import models


class Quantity(models.TextChoices):
    """What an instrument measures, or a system as a whole."""

    VOLTAGE = "voltage", "Voltage"
    CHARGE = "charge", "Apparent charge"
    IMPULSE = "impulse", "Impulse voltage"
    IMPEDANCE = "impedance", "Impedance"
    RESISTANCE = "resistance", "Resistance"
    TEMPERATURE = "temperature", "Temperature"
    PRESSURE = "pressure", "Pressure"
    HUMIDITY = "humidity", "Humidity"
    TIME = "time", "Time"


class InstrumentQuerySet(models.QuerySet["Instrument"]):
    """Reads of instruments."""

    def visible_to(self, viewer) -> InstrumentQuerySet:
        """Return all for the laboratory's own people, none for anyone else."""
        return self if viewer.is_laboratory else self.none()

    def matching(self, text: str) -> InstrumentQuerySet:
        """Return those whose identifier, description, maker, serial or place contains the text."""
        fields = ("identifier", "description", "maker", "model", "serial", "location")
        found = models.Q()
        for field in fields:
            found |= models.Q(**{f"{field}__icontains": text})
        return self.filter(found) if text else self

    def not_retired(self) -> InstrumentQuerySet:
        """Return those that can still come back into use."""
        return self.exclude(state="retired")

    def measuring(self, quantity: str) -> InstrumentQuerySet:
        """Return those for one quantity; for an empty one all."""
        return self.filter(quantity=quantity) if quantity else self

    def for_list(self) -> InstrumentQuerySet:
        """Return with the calibrations and the states that a status needs."""
        return self.prefetch_related("calibrations", "state_changes")

    def for_detail(self) -> InstrumentQuerySet:
        """Return with calibrations and their points, states, ranges, log, files, and the systems it belongs to."""
        return self.prefetch_related(
            "calibrations__points",
            "calibrations__files",
            "state_changes__entered_by",
            "ranges",
            "log__entered_by",
            "files",
            "drafts",
            "memberships__system",
        )


class Instrument(models.Model):
    """One row: one physical instrument with its own serial number."""

    class State(models.TextChoices):
        IN_USE = "in_use", "In use"
        IN_CALIBRATION = "in_calibration", "Away for calibration"
        QUARANTINED = "quarantined", "Quarantined"
        RETIRED = "retired", "Retired"

    identifier = models.CharField(max_length=40, unique=True)
    description = models.CharField(max_length=200)
    maker = models.CharField(max_length=120, blank=True)
    model = models.CharField(max_length=120, blank=True)
    serial = models.CharField(max_length=80)
    firmware = models.CharField(max_length=80, blank=True)
    location = models.CharField(max_length=120, blank=True)
    custodian = models.CharField(max_length=120, blank=True)
    quantity = models.CharField(max_length=20, choices=Quantity.choices)
    range_text = models.CharField(max_length=120, blank=True)
    state = models.CharField(max_length=20, choices=State.choices, default=State.IN_USE)
    state_since = models.DateField(null=True, blank=True)
    state_reason = models.CharField(max_length=300, blank=True)
    interval_months = models.PositiveIntegerField(default=12)
    is_indicator = models.BooleanField(default=False, help_text="Shows only, measures nothing that is judged")
    column_map = models.JSONField(null=True, blank=True)
    # What counts from the day `latest_on` on, kept by the service that enters calibrations, so that the board need not
    # look through them; where it is empty, and for earlier days, the calibrations themselves are asked.
    latest_on = models.DateField(null=True, blank=True, editable=False)
    latest_due_on = models.DateField(null=True, blank=True, editable=False)
    latest_is_good = models.BooleanField(default=False, editable=False)
    version = models.PositiveIntegerField(default=1)

    objects = InstrumentQuerySet.as_manager()

    class Meta:
        ordering = ("identifier",)

    def __str__(self) -> str:
        return f"{self.identifier} {self.description}"
