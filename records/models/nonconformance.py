"""Nonconformances: what follows a unit that does not conform."""

from __future__ import annotations

from django.db import models


class NonconformanceQuerySet(models.QuerySet["Nonconformance"]):
    """Reads of nonconformances."""

    def visible_to(self, viewer) -> NonconformanceQuerySet:
        """Return all for the laboratory, none for anyone else."""
        return self if viewer.is_laboratory else self.none()

    def for_list(self) -> NonconformanceQuerySet:
        """Return with what a list shows."""
        return self.select_related(
            "run__step__plan__unit__order__customer", "run__arrangement", "decided_by", "closed_by_run"
        )

    def for_page(self) -> NonconformanceQuerySet:
        """Return with what the page of one shows."""
        return self.for_list().prefetch_related("run__evaluations__findings")


class Nonconformance(models.Model):
    """One row: one run that found a unit not conforming, what was decided, and the run that closed it."""

    class Disposition(models.TextChoices):
        OPEN = "", "To be decided"
        RETEST = "retest", "Repair and retest"
        CONCESSION = "concession", "Concession by the customer"
        SCRAP = "scrap", "Scrap"

    run = models.ForeignKey("records.Run", on_delete=models.PROTECT, related_name="nonconformances")
    disposition = models.CharField(max_length=20, choices=Disposition.choices, blank=True, default=Disposition.OPEN)
    disposition_reason = models.TextField(blank=True)
    decided_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)
    opened_at = models.DateTimeField(auto_now_add=True)
    closed_by_run = models.ForeignKey(
        "records.Run", on_delete=models.PROTECT, null=True, blank=True, related_name="closes"
    )
    closed_at = models.DateTimeField(null=True, blank=True)

    objects = NonconformanceQuerySet.as_manager()

    class Meta:
        ordering = ("-pk",)
        constraints = [
            models.UniqueConstraint(fields=["run"], name="one_nonconformance_a_run"),
            models.CheckConstraint(
                condition=models.Q(disposition="", decided_by__isnull=True, decided_at__isnull=True)
                | (~models.Q(disposition="") & models.Q(decided_by__isnull=False, decided_at__isnull=False)),
                name="disposition_has_who_and_when",
            ),
        ]

    def __str__(self) -> str:
        return f"Nonconformance of {self.run}"
