"""Measuring systems: the instruments that together make one measurement."""

from __future__ import annotations

from django.db import models

from equipment.models.instrument import Quantity


class MeasuringSystemQuerySet(models.QuerySet["MeasuringSystem"]):
    """Reads of measuring systems."""

    def visible_to(self, viewer) -> MeasuringSystemQuerySet:
        """Return all for the laboratory's own people, none for anyone else."""
        return self if viewer.is_laboratory else self.none()

    def for_detail(self) -> MeasuringSystemQuerySet:
        """Return with components, budgets, checks, and the assignment before this one."""
        return (
            self.for_list()
            .select_related("replaces")
            .prefetch_related(
                "budgets__made_by",
                "checks__entered_by",
                "components__instrument__ranges",
                "components__instrument__calibrations__points",
                "components__instrument__check_standards__readings",
            )
        )

    def for_list(self) -> MeasuringSystemQuerySet:
        """Return with components, their calibrations and states."""
        return self.prefetch_related(
            "components__instrument__calibrations", "components__instrument__state_changes", "checks"
        )


class MeasuringSystem(models.Model):
    """One row: one assignment of a scale factor to a set of instruments; a changed component starts a new one."""

    name = models.CharField(max_length=120)
    assignment = models.PositiveIntegerField(default=1)
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by")
    quantity = models.CharField(max_length=20, choices=Quantity.choices)
    scale_factor = models.FloatField(default=1.0)
    relative_uncertainty_pct = models.FloatField()
    coverage_factor = models.FloatField(default=2.0)
    assigned_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)

    objects = MeasuringSystemQuerySet.as_manager()

    class Meta:
        ordering = ("name", "-assignment")
        constraints = [
            models.UniqueConstraint(
                fields=["name", "assignment"],
                name="an_assignment_once_a_name",
                violation_error_message="A measuring system of this name already exists.",
            )
        ]

    def __str__(self) -> str:
        return self.name


class SystemComponent(models.Model):
    """One row: one instrument as part of one measuring system."""

    system = models.ForeignKey(MeasuringSystem, on_delete=models.PROTECT, related_name="components")
    instrument = models.ForeignKey("equipment.Instrument", on_delete=models.PROTECT, related_name="memberships")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["system", "instrument"], name="a_component_once")]

    def __str__(self) -> str:
        return f"{self.instrument} in {self.system}"
