"""Orders with their contract review."""

from __future__ import annotations

from django.db import models


class OrderQuerySet(models.QuerySet["Order"]):
    """Reads of orders."""

    def visible_to(self, viewer) -> OrderQuerySet:
        """Return all for the laboratory, a customer's own for a customer, none for anyone else."""
        if viewer.is_laboratory:
            return self
        return self.filter(customer=viewer.organisation_id) if viewer.has_role("customer") else self.none()

    def for_list(self) -> OrderQuerySet:
        """Return with what a list shows."""
        return self.select_related("customer").annotate(unit_count=models.Count("units"))

    def for_detail(self) -> OrderQuerySet:
        """Return with customer, who entered it and who reviewed it."""
        return self.select_related("customer", "entered_by", "reviewed_by")


class Order(models.Model):
    """One row: what a customer bought, and what was agreed with them before testing."""

    class DecisionRule(models.TextChoices):
        SIMPLE_ACCEPTANCE = "simple_acceptance", "Simple acceptance (ILAC-G8, w = 0)"
        GUARD_BAND = "guard_band", "Guard band (ILAC-G8, w = U)"
        ISO_14253 = "iso_14253", "Guard band of ISO 14253-1 (w = 0.83 U)"
        THREE_SIGMA = "three_sigma", "Guard band of three standard uncertainties (w = 1.5 U)"
        SIX_SIGMA = "six_sigma", "Guard band of six standard uncertainties (w = 3 U)"
        NON_CRITICAL = "non_critical", "Non-critical: refused beyond the limit by more than U (w = -U)"
        CUSTOMER_DEFINED = "customer_defined", "The customer's own (w = r·U)"

    class Statements(models.TextChoices):
        TWO = "two_states", "Two states: conforms, does not conform"
        FOUR = "four_states", "Four states: pass, conditional pass, conditional fail, fail"

    class DischargeProcedure(models.TextChoices):
        AGREED_PRACTICE = "agreed_practice", "Agreed practice (pre-stress, then hold)"
        IEEE_GUIDE = "ieee_guide", "IEEE guide for switchgear"
        PROCEDURE_A = "procedure_a", "Procedure A of the unit's document"
        PROCEDURE_B = "procedure_b", "Procedure B of the unit's document"
        BY_DOCUMENT = "", "As the unit's document says"

    number = models.CharField(max_length=60, unique=True)
    customer = models.ForeignKey("people.Organisation", on_delete=models.PROTECT, related_name="orders")
    purchase_reference = models.CharField(max_length=120)
    standards = models.JSONField(default=list)
    decision_rule = models.CharField(
        max_length=30, choices=DecisionRule.choices, default=DecisionRule.SIMPLE_ACCEPTANCE
    )
    guard_factor = models.FloatField(null=True, blank=True)
    statements = models.CharField(max_length=12, choices=Statements.choices, default=Statements.TWO)
    discharge_procedure = models.CharField(
        max_length=30, choices=DischargeProcedure.choices, default=DischargeProcedure.AGREED_PRACTICE, blank=True
    )
    hold_kinds = models.JSONField(default=list, blank=True)
    witness_kinds = models.JSONField(default=list, blank=True)
    wanted_on = models.DateField(null=True, blank=True)
    remarks = models.TextField(blank=True)
    entered_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)
    reviewed_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    reviewed_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    objects = OrderQuerySet.as_manager()

    class Meta:
        ordering = ("-pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(reviewed_by__isnull=True, reviewed_at__isnull=True)
                | models.Q(reviewed_by__isnull=False, reviewed_at__isnull=False),
                name="review_has_who_and_when",
            ),
            models.CheckConstraint(
                condition=models.Q(decision_rule="customer_defined", guard_factor__isnull=False)
                | (~models.Q(decision_rule="customer_defined") & models.Q(guard_factor__isnull=True)),
                name="a_customers_own_rule_has_its_factor",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def is_reviewed(self) -> bool:
        """Say whether the contract review is done."""
        return self.reviewed_at is not None
