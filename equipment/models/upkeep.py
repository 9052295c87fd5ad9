"""What keeps measuring believable between calibrations: checks of systems, check standards, proposed intervals."""

from __future__ import annotations

from django.db import models


class SystemBudget(models.Model):
    """One row: one version of the uncertainty budget of a measuring system; never changed, a later one follows."""

    system = models.ForeignKey("equipment.MeasuringSystem", on_delete=models.PROTECT, related_name="budgets")
    number = models.PositiveIntegerField()
    at_value = models.FloatField(help_text="Value of the quantity that the budget is made for")
    unit = models.CharField(max_length=12)
    document = models.JSONField(help_text="The budget as given")
    statement = models.JSONField(help_text="What it gave")
    relative_uncertainty_pct = models.FloatField()
    coverage_factor = models.FloatField()
    reason = models.CharField(max_length=300)
    made_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("system", "-number")
        constraints = [models.UniqueConstraint(fields=["system", "number"], name="a_budget_number_once_a_system")]

    def __str__(self) -> str:
        return f"Budget {self.number} of {self.system}"


class PerformanceCheck(models.Model):
    """One row: one check of a measuring system's scale factor against its assigned one."""

    system = models.ForeignKey("equipment.MeasuringSystem", on_delete=models.PROTECT, related_name="checks")
    on = models.DateField()
    scale_factor = models.FloatField()
    deviation_pct = models.FloatField()
    allowed_pct = models.FloatField()
    is_satisfied = models.BooleanField()
    method = models.CharField(max_length=200)
    entered_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("-on", "-pk")

    def __str__(self) -> str:
        return f"Check of {self.system}, {self.on}"


class CheckStandardQuerySet(models.QuerySet["CheckStandard"]):
    """Reads of check standards."""

    def visible_to(self, viewer) -> CheckStandardQuerySet:
        """Return all for the laboratory's own people, none for anyone else."""
        return self if viewer.is_laboratory else self.none()

    def for_list(self) -> CheckStandardQuerySet:
        """Return with readings, alarms and what is checked."""
        return self.select_related("instrument").prefetch_related("readings", "alarms")


class CheckStandard(models.Model):
    """One row: one stable thing that an instrument measures again and again, with what it should show."""

    name = models.CharField(max_length=120, unique=True)
    instrument = models.ForeignKey("equipment.Instrument", on_delete=models.PROTECT, related_name="check_standards")
    unit = models.CharField(max_length=12)
    reference = models.FloatField()
    reference_uncertainty = models.FloatField(help_text="Expanded, k = 2")
    reading_uncertainty = models.FloatField(help_text="Expanded, k = 2, of one reading of the instrument")
    baseline_count = models.PositiveIntegerField(default=10)
    entered_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    objects = CheckStandardQuerySet.as_manager()

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class CheckReading(models.Model):
    """One row: one reading of a check standard."""

    standard = models.ForeignKey(CheckStandard, on_delete=models.PROTECT, related_name="readings")
    at = models.DateTimeField()
    value = models.FloatField()
    remarks = models.CharField(max_length=200, blank=True)
    made_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("at", "pk")

    def __str__(self) -> str:
        return f"{self.value:g} of {self.standard}"


class CheckAlarm(models.Model):
    """One row: one reading that breaks one rule; acknowledged by a person with a reason."""

    standard = models.ForeignKey(CheckStandard, on_delete=models.PROTECT, related_name="alarms")
    reading = models.ForeignKey(CheckReading, on_delete=models.PROTECT, related_name="alarms")
    rule = models.CharField(max_length=20)
    words = models.CharField(max_length=300)
    raised_at = models.DateTimeField(auto_now_add=True)
    acknowledged_by = models.ForeignKey(
        "people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    acknowledged_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("-pk",)
        constraints = [models.UniqueConstraint(fields=["reading", "rule"], name="an_alarm_once_a_reading_and_rule")]

    def __str__(self) -> str:
        return self.words


class IntervalDecision(models.Model):
    """One row: one change of a calibration interval that a person accepted, with the reasoning shown to them."""

    instrument = models.ForeignKey("equipment.Instrument", on_delete=models.PROTECT, related_name="interval_decisions")
    method = models.CharField(max_length=20)
    from_months = models.PositiveIntegerField()
    to_months = models.PositiveIntegerField()
    reasoning = models.JSONField()
    reason = models.CharField(max_length=300)
    decided_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("-pk",)

    def __str__(self) -> str:
        return f"{self.from_months} to {self.to_months} months"
