"""Records: uploaded files, kept byte for byte."""

from __future__ import annotations

from django.db import models


class RecordQuerySet(models.QuerySet["Record"]):
    """Reads of records."""

    def visible_to(self, viewer) -> RecordQuerySet:
        """Return all for the laboratory, and for a customer those of their own approved runs.

        What was set aside may be another customer's, and what another run lent is so where its unit is: a customer
        sees neither.
        """
        if viewer.is_laboratory:
            return self
        if not viewer.has_role("customer"):
            return self.none()
        company = viewer.organisation_id
        own = self.filter(run__step__plan__unit__order__customer=company, run__state="approved")
        lent = models.Q(lent_by__isnull=True) | models.Q(lent_by__step__plan__unit__order__customer=company)
        return own.filter(lent).exclude(state=Record.State.SET_ASIDE)

    def for_page(self) -> RecordQuerySet:
        """Return with the run and what its page shows."""
        return self.select_related(
            "run__step__plan__unit__order__customer", "run__arrangement", "run__operator", "run__second_person"
        )


class Record(models.Model):
    """One row: one uploaded file of one run; `path` is under the content-addressed store, never the given name.

    `part` is the part that it plays beside others (`records.evaluation.parts`), empty for the usual one; `lent_by` the
    run whose file it is, where it is that of another.
    """

    class State(models.TextChoices):
        STORED = "stored", "Stored, not read yet"
        NEEDS_MAPPING = "needs_mapping", "Columns to be told"
        READ = "read", "Read"
        REFUSED = "refused", "Refused"
        SET_ASIDE = "set_aside", "Set aside"

    run = models.ForeignKey("records.Run", on_delete=models.PROTECT, related_name="records")
    given_name = models.CharField(max_length=255)
    part = models.CharField(max_length=20, blank=True, default="", db_default="")
    lent_by = models.ForeignKey(
        "records.Run", on_delete=models.PROTECT, null=True, blank=True, related_name="records_lent"
    )
    path = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    state = models.CharField(max_length=20, choices=State.choices, default=State.STORED)
    words = models.TextField(blank=True)
    column_map = models.JSONField(null=True, blank=True)
    summary = models.JSONField(default=dict, blank=True)
    uploaded_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    uploaded_at = models.DateTimeField(auto_now_add=True)

    objects = RecordQuerySet.as_manager()

    class Meta:
        ordering = ("pk",)
        constraints = [models.UniqueConstraint(fields=["run", "sha256"], name="the_same_bytes_once_a_run")]

    def __str__(self) -> str:
        return self.given_name

    @property
    def is_of_another_customer(self) -> bool:
        """Say whether it was lent by the run of another customer's unit, who is not named to this one."""
        lender = self.lent_by
        if lender is None:
            return False
        return lender.step.plan.unit.order.customer_id != self.run.step.plan.unit.order.customer_id
