"""Plans, their steps and the arrangements of a step."""

from __future__ import annotations

from django.db import models


class PlanQuerySet(models.QuerySet["Plan"]):
    """Reads of plans."""

    def visible_to(self, viewer) -> PlanQuerySet:
        """Return all for the laboratory, a customer's own for a customer, none for anyone else."""
        if viewer.is_laboratory:
            return self
        own = models.Q(unit__order__customer=viewer.organisation_id)
        return self.filter(own) if viewer.has_role("customer") else self.none()

    def for_detail(self) -> PlanQuerySet:
        """Return with unit, steps and arrangements."""
        return self.select_related("unit", "made_by").prefetch_related("steps__arrangements", "steps__released_by")


class Plan(models.Model):
    """One row: one revision of the plan of one unit, with the digest of the derived document. Never edited."""

    unit = models.ForeignKey("schedules.Unit", on_delete=models.PROTECT, related_name="plans")
    revision = models.PositiveIntegerField()
    document = models.JSONField()
    digest = models.CharField(max_length=64)
    is_current = models.BooleanField(default=True)
    made_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)

    objects = PlanQuerySet.as_manager()

    class Meta:
        ordering = ("-revision",)
        constraints = [
            models.UniqueConstraint(fields=["unit", "revision"], name="a_revision_once_a_unit"),
            models.UniqueConstraint(
                fields=["unit"], condition=models.Q(is_current=True), name="one_current_plan_a_unit"
            ),
        ]

    def __str__(self) -> str:
        return f"Plan {self.revision} of {self.unit}"


class StepQuerySet(models.QuerySet["Step"]):
    """Reads of steps."""

    def visible_to(self, viewer) -> StepQuerySet:
        """Return all for the laboratory, a customer's own for a customer, none for anyone else."""
        if viewer.is_laboratory:
            return self
        own = models.Q(plan__unit__order__customer=viewer.organisation_id)
        return self.filter(own) if viewer.has_role("customer") else self.none()


class Step(models.Model):
    """One row: one test of a plan; `document` is the step as derived: procedure, criteria, basis."""

    class Point(models.TextChoices):
        NONE = "", "None"
        HOLD = "hold", "Hold point"
        WITNESS = "witness", "Witness point"

    plan = models.ForeignKey(Plan, on_delete=models.PROTECT, related_name="steps")
    position = models.PositiveIntegerField()
    kind = models.CharField(max_length=40)
    title = models.CharField(max_length=200)
    point = models.CharField(max_length=10, choices=Point.choices, blank=True, default=Point.NONE)
    document = models.JSONField()
    released_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    released_at = models.DateTimeField(null=True, blank=True)
    release_reason = models.TextField(blank=True)

    objects = StepQuerySet.as_manager()

    class Meta:
        ordering = ("position",)
        constraints = [
            models.UniqueConstraint(fields=["plan", "position"], name="a_position_once_a_plan"),
            models.CheckConstraint(
                condition=models.Q(released_by__isnull=True, released_at__isnull=True)
                | models.Q(released_by__isnull=False, released_at__isnull=False),
                name="release_has_who_and_when",
            ),
        ]

    def __str__(self) -> str:
        return self.title


class Arrangement(models.Model):
    """One row: which terminals are energised and which earthed in one performance of a step.

    `carried_from` is that of the revision before, whose runs a review lets stand for this one.
    """

    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="arrangements")
    position = models.PositiveIntegerField()
    name = models.CharField(max_length=80)
    energised = models.JSONField(default=list)
    earthed = models.JSONField(default=list)
    carried_from = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="carried_to")

    class Meta:
        ordering = ("position",)
        constraints = [models.UniqueConstraint(fields=["step", "position"], name="an_arrangement_once_a_step")]

    def __str__(self) -> str:
        return self.name


class RevisionReview(models.Model):
    """One row: what a reviewer decided about one step of a new revision: runs made before stand, or are repeated."""

    class Decision(models.TextChoices):
        STANDS = "stands", "What was done stands"
        REPEAT = "repeat", "To be repeated"

    step = models.OneToOneField(Step, on_delete=models.PROTECT, related_name="review")
    earlier_step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="+")
    decision = models.CharField(max_length=10, choices=Decision.choices)
    reason = models.TextField()
    decided_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("step__position",)

    def __str__(self) -> str:
        return f"{self.step}: {self.get_decision_display()}"


class EvidenceQuerySet(models.QuerySet["Evidence"]):
    """Reads of citations."""

    def visible_to(self, viewer) -> EvidenceQuerySet:
        """Return all for the laboratory, none for anyone else."""
        return self if viewer.is_laboratory else self.none()

    def holding(self) -> EvidenceQuerySet:
        """Return those that were not dropped."""
        return self.filter(dropped_at__isnull=True)


class Evidence(models.Model):
    """One row: a type test of a sister of the same design that is cited in place of testing this unit."""

    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="evidence")
    source_step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="cited_as_evidence")
    reason = models.TextField()
    cited_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    cited_at = models.DateTimeField(auto_now_add=True)
    dropped_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    dropped_at = models.DateTimeField(null=True, blank=True)
    drop_reason = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)

    objects = EvidenceQuerySet.as_manager()

    class Meta:
        ordering = ("step__position",)
        constraints = [
            models.UniqueConstraint(
                fields=["step"], condition=models.Q(dropped_at__isnull=True), name="one_evidence_a_step"
            ),
            models.CheckConstraint(
                condition=models.Q(dropped_by__isnull=True, dropped_at__isnull=True)
                | models.Q(dropped_by__isnull=False, dropped_at__isnull=False),
                name="dropped_evidence_has_who_and_when",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.step} by evidence of {self.source_step.plan.unit}"
