"""Runs, and what is noted during one."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from records.models.verdicts import Verdict


class RunQuerySet(models.QuerySet["Run"]):
    """Reads of runs."""

    def visible_to(self, viewer) -> RunQuerySet:
        """Return all for the laboratory; a customer's approved ones; a witness's, while an invitation is open."""
        if viewer.is_laboratory:
            return self
        if viewer.has_role("customer"):
            return self.filter(step__plan__unit__order__customer=viewer.organisation_id, state=Run.State.APPROVED)
        if viewer.has_role("witness"):
            now = timezone.now()
            invited = models.Q(
                invitations__user=viewer, invitations__revoked_at__isnull=True, invitations__expires_at__gt=now
            )
            return self.filter(invited).distinct()
        return self.none()

    def for_list(self) -> RunQuerySet:
        """Return with what a list shows."""
        return self.select_related("step__plan__unit__order__customer", "arrangement", "bay", "operator")

    def for_detail(self) -> RunQuerySet:
        """Return with everything a run sheet or a review shows."""
        return (
            self.for_list()
            .select_related("second_person", "repeats")
            .prefetch_related(
                "instruments__instrument__calibrations",
                "instruments__instrument__state_changes",
                "instruments__instrument__ranges",
                "instruments__calibration",
                "instruments__system",
                "instruments__budget",
                "instruments__overridden_by",
                "checks__made_by",
                "marks__marked_by",
                "remarks__made_by",
                "photos",
                "records__uploaded_by",
                "records__lent_by",
                "evaluations__findings",
                "sign_offs",
                "invitations",
                "nonconformances",
            )
        )

    def standing(self) -> RunQuerySet:
        """Return the runs that stand: approved, and the unit was judged."""
        return self.filter(state=Run.State.APPROVED, verdict__in=[Verdict.CONFORMS, Verdict.DOES_NOT_CONFORM])


class Run(models.Model):
    """One row: one performance of one step on one unit in one arrangement."""

    class State(models.TextChoices):
        SETUP = "setup", "Set-up"
        ENERGISED = "energised", "Energised stages"
        RECORDED = "recorded", "Record being judged"
        JUDGED = "judged", "Tester to sign"
        SIGNED = "signed", "Waiting for review"
        APPROVED = "approved", "Approved"
        ABANDONED = "abandoned", "Abandoned"

    number = models.CharField(max_length=60, unique=True)
    step = models.ForeignKey("schedules.Step", on_delete=models.PROTECT, related_name="runs")
    arrangement = models.ForeignKey("schedules.Arrangement", on_delete=models.PROTECT, related_name="runs")
    bay = models.ForeignKey("schedules.Bay", on_delete=models.PROTECT, related_name="runs")
    state = models.CharField(max_length=20, choices=State.choices, default=State.SETUP)
    verdict = models.CharField(max_length=20, choices=Verdict.choices, blank=True, default="")
    operator = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="runs_operated")
    second_person = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="runs_watched")
    started_at = models.DateTimeField()
    temperature_c = models.FloatField(null=True, blank=True)
    pressure_kpa = models.FloatField(null=True, blank=True)
    relative_humidity_pct = models.FloatField(null=True, blank=True)
    repeats = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="repeated_by")
    repeat_reason = models.TextField(blank=True)
    abandon_reason = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)

    objects = RunQuerySet.as_manager()

    class Meta:
        ordering = ("-started_at", "-pk")
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(operator=models.F("second_person")), name="second_person_is_another"
            )
        ]
        # The backward trace asks of many runs whether their day fits: the index alone answers, without the rows.
        indexes = [models.Index(fields=["id", "started_at", "state"], name="records_run_when")]

    def __str__(self) -> str:
        return self.number


class RunInstrument(models.Model):
    """One row: one instrument used in a run, with the calibration that held that day, or who overrode and why."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="instruments")
    instrument = models.ForeignKey("equipment.Instrument", on_delete=models.PROTECT, related_name="uses")
    system = models.ForeignKey(
        "equipment.MeasuringSystem", on_delete=models.PROTECT, null=True, blank=True, related_name="uses"
    )
    calibration = models.ForeignKey(
        "equipment.Calibration", on_delete=models.PROTECT, null=True, blank=True, related_name="uses"
    )
    status_reason = models.CharField(max_length=300, blank=True)
    is_valid = models.BooleanField(default=False)
    overridden_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    overridden_at = models.DateTimeField(null=True, blank=True)
    override_reason = models.TextField(blank=True)
    budget = models.ForeignKey(
        "equipment.SystemBudget", on_delete=models.PROTECT, null=True, blank=True, related_name="uses"
    )
    # As they were when it was listed, so that a later decision about the calibration does not reach back.
    corrections = models.JSONField(default=list, blank=True, help_text="Curves that the evaluation is given")
    correction_words = models.CharField(max_length=600, blank=True)

    class Meta:
        ordering = ("instrument__identifier",)
        constraints = [models.UniqueConstraint(fields=["run", "instrument"], name="an_instrument_once_a_run")]

    def __str__(self) -> str:
        return f"{self.instrument} in {self.run}"


class SetupCheck(models.Model):
    """One row: one check before voltage, as made; a later row of the same kind takes its place."""

    class Kind(models.TextChoices):
        CHARGE_CALIBRATION = "charge_calibration", "Charge calibration"
        BACKGROUND_NOISE = "background_noise", "Background noise"
        VOLTAGE_SCALE = "voltage_scale", "Voltage scale against a reference"
        CALIBRATOR_OFF = "calibrator_off", "Calibrator off the circuit"
        AREA_CLEAR = "area_clear", "Area clear"
        EARTHS = "earths", "Earths as the arrangement asks"
        INTERLOCK = "interlock", "Interlock closed"
        TEST_VALUES = "test_values", "Values that the record does not hold"

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="checks")
    kind = models.CharField(max_length=30, choices=Kind.choices)
    values = models.JSONField(default=dict)
    is_satisfied = models.BooleanField()
    reason = models.CharField(max_length=300, blank=True)
    made_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.run}"


class StageMark(models.Model):
    """One row: what the operator noted of an energised stage; the record decides, this helps."""

    class Outcome(models.TextChoices):
        HELD = "held", "Held"
        LEFT_BAND = "left_band", "Voltage left the band"
        DISCHARGE = "discharge", "Discharge or trip"

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="marks")
    stage = models.CharField(max_length=60)
    outcome = models.CharField(max_length=20, choices=Outcome.choices)
    marked_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    marked_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"{self.stage}: {self.get_outcome_display()}"


class RunRemark(models.Model):
    """One row: one remark written during a run."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="remarks")
    text = models.TextField()
    made_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return self.text[:60]


class RunPhoto(models.Model):
    """One row: one photograph taken during a run."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="photos")
    image = models.FileField(upload_to="photographs/")
    sha256 = models.CharField(max_length=64)
    caption = models.CharField(max_length=200, blank=True)
    taken_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.caption or f"Photograph of {self.run}"
