"""Evaluations of a run and their findings."""

from __future__ import annotations

from django.db import models

from records.models.verdicts import Verdict


class Evaluation(models.Model):
    """One row: one judgement of one record against one step; never edited, a later one is another row."""

    run = models.ForeignKey("records.Run", on_delete=models.PROTECT, related_name="evaluations")
    record = models.ForeignKey("records.Record", on_delete=models.PROTECT, related_name="evaluations")
    evaluation_version = models.CharField(max_length=20)
    verdict = models.CharField(max_length=20, choices=Verdict.choices)
    document = models.JSONField()
    setup = models.JSONField(null=True, blank=True, help_text="The set-up it was given; none: kept as a digest only")
    record_digest = models.CharField(max_length=64)
    plan_digest = models.CharField(max_length=64)
    setup_digest = models.CharField(max_length=64)
    digest = models.CharField(max_length=64)
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"{self.get_verdict_display()} ({self.run})"


class Finding(models.Model):
    """One row: one quantity against one criterion."""

    evaluation = models.ForeignKey(Evaluation, on_delete=models.PROTECT, related_name="findings")
    position = models.PositiveIntegerField()
    quantity = models.CharField(max_length=60)
    stage = models.CharField(max_length=60, blank=True)
    value = models.FloatField(null=True)
    unit = models.CharField(max_length=12, blank=True)
    expanded_uncertainty = models.FloatField(null=True)
    coverage_factor = models.FloatField(null=True)
    minimum = models.FloatField(null=True)
    maximum = models.FloatField(null=True)
    decision = models.CharField(max_length=40, blank=True)
    probability_of_conformity = models.FloatField(null=True)
    judges = models.CharField(max_length=10)
    verdict = models.CharField(max_length=20, choices=Verdict.choices)
    reason = models.TextField()

    class Meta:
        ordering = ("position",)
        constraints = [models.UniqueConstraint(fields=["evaluation", "position"], name="a_finding_once_a_position")]

    def __str__(self) -> str:
        return f"{self.quantity}: {self.get_verdict_display()}"
