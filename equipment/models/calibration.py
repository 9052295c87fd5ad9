"""Calibrations and their points."""

from __future__ import annotations

from datetime import date

from django.db import models

STILL_COUNTS = date.max  # a day and not nothing, so that an index answers alone which calibration counted on a day


class CalibrationQuerySet(models.QuerySet["Calibration"]):
    """Reads of calibrations."""

    def counting_first(self) -> CalibrationQuerySet:
        """Return in the order in which they count: the latest; of one day a failed one, then the one due first."""
        outside_first = models.Case(
            models.When(verdict=Calibration.Verdict.OUTSIDE, then=models.Value(0)), default=models.Value(1)
        )
        return self.order_by("-calibrated_on", outside_first, "due_on", "certificate_number")


class Calibration(models.Model):
    """One row: one calibration of one instrument, as its certificate reports it."""

    class Verdict(models.TextChoices):
        WITHIN = "within", "Within what the laboratory requires"
        OUTSIDE = "outside", "Outside what the laboratory requires"

    class AsFound(models.TextChoices):
        WITHIN = "within", "Found within what the laboratory requires"
        DOUBTFUL = "doubtful", "Found within, but not beyond doubt"
        OUTSIDE = "outside", "Found outside what the laboratory requires"
        NOT_STATED = "not_stated", "Not stated"

    class Correction(models.TextChoices):
        INTERPOLATED = "interpolated", "Interpolated between the points"
        LINE = "line", "Straight line through the points"

    class Use(models.TextChoices):
        APPLIED = "applied", "Applied to the readings"
        NOT_APPLIED = "not_applied", "Not applied; they count as uncertainty"
        NONE_LEFT = "none_left", "None left: the instrument was adjusted to them"
        NOT_DECIDED = "not_decided", "Not decided"

    instrument = models.ForeignKey("equipment.Instrument", on_delete=models.PROTECT, related_name="calibrations")
    laboratory = models.CharField(max_length=200)
    accreditation = models.CharField(max_length=80, blank=True)
    certificate_number = models.CharField(max_length=80)
    calibrated_on = models.DateField()
    due_on = models.DateField()
    relative_uncertainty_pct = models.FloatField(help_text="Expanded, in per cent of the reading")
    coverage_factor = models.FloatField(default=2.0)
    verdict = models.CharField(max_length=20, choices=Verdict.choices, default=Verdict.WITHIN)
    as_found = models.CharField(max_length=20, choices=AsFound.choices, default=AsFound.NOT_STATED)
    was_adjusted = models.BooleanField(default=False)
    adjustment = models.TextField(blank=True)
    temperature_c = models.FloatField(null=True, blank=True)
    relative_humidity_pct = models.FloatField(null=True, blank=True)
    conditions = models.CharField(max_length=300, blank=True)
    correction_method = models.CharField(max_length=20, choices=Correction.choices, default=Correction.INTERPOLATED)
    correction_use = models.CharField(max_length=20, choices=Use.choices, default=Use.NOT_DECIDED)
    remarks = models.TextField(blank=True)
    entered_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)
    # The day from which on another one counts instead, kept by the service that enters calibrations, so that the board
    # of a day that has passed need not compare them; of several of one day those that never count end on that day.
    counts_until = models.DateField(default=STILL_COUNTS, editable=False)

    objects = CalibrationQuerySet.as_manager()

    class Meta:
        ordering = ("-calibrated_on", "-pk")
        indexes = [
            models.Index(fields=["instrument", "-calibrated_on"], name="equipment_calibration_latest"),
            models.Index(
                fields=["counts_until", "calibrated_on"],
                include=["instrument", "due_on", "verdict", "certificate_number"],
                name="equipment_calibration_counting",
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(due_on__gt=models.F("calibrated_on")), name="due_after_calibrated"
            ),
            models.CheckConstraint(condition=models.Q(relative_uncertainty_pct__gt=0), name="uncertainty_above_zero"),
            models.UniqueConstraint(fields=["instrument", "certificate_number"], name="a_certificate_once"),
        ]

    def __str__(self) -> str:
        return f"{self.certificate_number}, {self.calibrated_on}"


class CalibrationPoint(models.Model):
    """One row: one point of a calibration, as found or as left."""

    class Moment(models.TextChoices):
        AS_FOUND = "as_found", "As found"
        AS_LEFT = "as_left", "As left"

    calibration = models.ForeignKey(Calibration, on_delete=models.PROTECT, related_name="points")
    moment = models.CharField(max_length=10, choices=Moment.choices)
    unit = models.CharField(max_length=12)
    reference = models.FloatField()
    nominal = models.FloatField(null=True, blank=True)
    reading = models.FloatField()
    expanded_uncertainty = models.FloatField()
    coverage_factor = models.FloatField(default=2.0)

    class Meta:
        ordering = ("moment", "reference")

    def __str__(self) -> str:
        return f"{self.reading} {self.unit} at {self.reference} {self.unit}, {self.get_moment_display()}"

    @property
    def correction(self) -> float:
        """Return what has to be added to the reading [unit of the point]."""
        return self.reference - self.reading
