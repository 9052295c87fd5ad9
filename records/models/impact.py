"""Nonconforming work: what a wrong instrument touched, and what people decided about each of it."""

from __future__ import annotations

from django.db import models

from records.models.verdicts import Verdict


class Effect(models.TextChoices):
    """What an instrument's error does to a verdict."""

    FLIPS = "flips", "Verdict changes"
    DOUBTFUL = "doubtful", "Doubtful"
    STANDS = "stands", "Stands"
    UNTOUCHED = "untouched", "Not touched"


class NonconformingWorkQuerySet(models.QuerySet["NonconformingWork"]):
    """Reads of nonconforming work."""

    def visible_to(self, viewer) -> NonconformingWorkQuerySet:
        """Return all for the laboratory, none for anyone else."""
        return self if viewer.is_laboratory else self.none()

    def for_list(self) -> NonconformingWorkQuerySet:
        """Return with instrument, calibrations and how many runs are decided."""
        rows = self.select_related("calibration__instrument", "good_calibration", "opened_by", "closed_by")
        undecided = models.Q(runs__decision="", runs__recomputed_at__isnull=False)
        counts = {"run_count": models.Count("runs"), "open_count": models.Count("runs", filter=undecided)}
        return rows.annotate(**counts).order_by("-pk")


class NonconformingWork(models.Model):
    """One row: one calibration that found an instrument wrong, and the work that may be wrong because of it."""

    class State(models.TextChoices):
        TRACING = "tracing", "Being traced and recomputed"
        TO_DECIDE = "to_decide", "To be decided"
        CLOSED = "closed", "Closed"

    calibration = models.OneToOneField(
        "equipment.Calibration", on_delete=models.PROTECT, related_name="nonconforming_work"
    )
    good_calibration = models.ForeignKey(
        "equipment.Calibration", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    from_on = models.DateField(null=True, blank=True, help_text="Day of the last good calibration; none: ever since")
    to_on = models.DateField()
    found = models.CharField(max_length=300)
    state = models.CharField(max_length=20, choices=State.choices, default=State.TRACING)
    opened_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField(auto_now_add=True)
    traced_at = models.DateTimeField(null=True, blank=True)
    conclusion = models.TextField(blank=True)
    closed_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    document_path = models.CharField(max_length=200, blank=True)
    document_sha256 = models.CharField(max_length=64, blank=True)
    version = models.PositiveIntegerField(default=1)

    objects = NonconformingWorkQuerySet.as_manager()

    class Meta:
        ordering = ("-pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(closed_by__isnull=True, closed_at__isnull=True)
                | (models.Q(closed_by__isnull=False, closed_at__isnull=False) & ~models.Q(conclusion="")),
                name="closed_work_says_who_when_and_what",
            )
        ]

    def __str__(self) -> str:
        return f"Nonconforming work {self.pk}"


class AffectedRun(models.Model):
    """One row: one run that used the instrument, with its verdict before and under both assumptions."""

    class Decision(models.TextChoices):
        OPEN = "", "To be decided"
        STANDS = "stands", "The result stands"
        RETEST = "retest", "Test again"
        AMEND = "amend", "Amend the certificate"
        WITHDRAW = "withdraw", "Withdraw the certificate"
        CONCESSION = "concession", "The customer accepts it"

    work = models.ForeignKey(NonconformingWork, on_delete=models.PROTECT, related_name="runs")
    run = models.ForeignKey("records.Run", on_delete=models.PROTECT, related_name="doubts")
    through = models.CharField(max_length=120, blank=True, help_text="The measuring system, where not directly")
    part = models.FloatField(help_text="Of the way from the last good day to the day found wrong, 0 to 1")
    verdict_before = models.CharField(max_length=20, choices=Verdict.choices, blank=True)
    verdict_constant = models.CharField(max_length=20, choices=Verdict.choices, blank=True)
    verdict_linear = models.CharField(max_length=20, choices=Verdict.choices, blank=True)
    effect_constant = models.CharField(max_length=10, choices=Effect.choices, blank=True)
    effect_linear = models.CharField(max_length=10, choices=Effect.choices, blank=True)
    recomputed_at = models.DateTimeField(null=True, blank=True)
    decision = models.CharField(max_length=12, choices=Decision.choices, blank=True, default=Decision.OPEN)
    decision_reason = models.TextField(blank=True)
    decided_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("run_id",)
        constraints = [
            models.UniqueConstraint(fields=["work", "run"], name="a_run_once_a_nonconforming_work"),
            models.CheckConstraint(
                condition=models.Q(decision="", decided_by__isnull=True, decided_at__isnull=True)
                | (~models.Q(decision="") & models.Q(decided_by__isnull=False, decided_at__isnull=False)),
                name="a_decision_on_a_run_has_who_and_when",
            ),
        ]
        indexes = [models.Index(fields=["work", "recomputed_at"], name="records_affected_waiting")]

    def __str__(self) -> str:
        return f"{self.run} in {self.work}"


class AffectedFinding(models.Model):
    """One row: one finding of an affected run, recomputed with the error constant and growing."""

    affected = models.ForeignKey(AffectedRun, on_delete=models.PROTECT, related_name="findings")
    finding = models.ForeignKey("records.Finding", on_delete=models.PROTECT, related_name="+")
    error_constant = models.FloatField(null=True)
    value_constant = models.FloatField(null=True)
    verdict_constant = models.CharField(max_length=20, choices=Verdict.choices)
    effect_constant = models.CharField(max_length=10, choices=Effect.choices)
    reason_constant = models.CharField(max_length=300)
    error_linear = models.FloatField(null=True)
    value_linear = models.FloatField(null=True)
    verdict_linear = models.CharField(max_length=20, choices=Verdict.choices)
    effect_linear = models.CharField(max_length=10, choices=Effect.choices)
    reason_linear = models.CharField(max_length=300)

    class Meta:
        ordering = ("finding__position",)
        constraints = [models.UniqueConstraint(fields=["affected", "finding"], name="a_finding_once_an_affected_run")]

    def __str__(self) -> str:
        return f"{self.finding} in {self.affected}"


class CustomerLetter(models.Model):
    """One row: one letter to one customer about nonconforming work, a draft until a person says it was sent."""

    work = models.ForeignKey(NonconformingWork, on_delete=models.PROTECT, related_name="letters")
    customer = models.ForeignKey("people.Organisation", on_delete=models.PROTECT, related_name="+")
    text = models.TextField()
    drafted_at = models.DateTimeField(auto_now_add=True)
    sent_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    sent_at = models.DateTimeField(null=True, blank=True)
    sent_how = models.CharField(max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("customer__name",)
        constraints = [models.UniqueConstraint(fields=["work", "customer"], name="a_letter_once_a_customer")]

    def __str__(self) -> str:
        return f"Letter to {self.customer}"
