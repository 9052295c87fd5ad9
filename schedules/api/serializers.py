"""What the API reads and writes of orders, units and plans; the rules stand in the services."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from labsite.people.models import Organisation
from schedules.models import Arrangement, Order, Plan, Step, Unit
from schedules.rules import EQUIPMENT_KINDS, STEP_KINDS

STEP_KIND_CHOICES = list(STEP_KINDS.items())


@extend_schema_field(serializers.IntegerField())
class VisibleRelatedField(serializers.PrimaryKeyRelatedField):
    """A reference to something that the asking person may see; anything else is said not to exist."""

    def __init__(self, *, model: Any = None, **options: Any) -> None:
        self.model = model
        super().__init__(**options)

    def get_queryset(self) -> Any:
        """Return the rows that the asking person may name."""
        return self.model.objects.visible_to(self.context["request"].user)


class OrderSerializer(serializers.ModelSerializer):
    """An order with what was agreed."""

    customer = VisibleRelatedField(model=Organisation)
    customer_name = serializers.CharField(source="customer.name", read_only=True)
    standards = serializers.ListField(child=serializers.CharField(max_length=120), required=False, max_length=30)
    hold_kinds = serializers.ListField(child=serializers.ChoiceField(STEP_KIND_CHOICES), required=False)
    witness_kinds = serializers.ListField(child=serializers.ChoiceField(STEP_KIND_CHOICES), required=False)
    version = serializers.IntegerField(required=False, help_text="As it was read; needed for a change.")
    reason = serializers.CharField(write_only=True, required=False, allow_blank=True, max_length=500)

    class Meta:
        model = Order
        fields = (
            "id",
            "number",
            "customer",
            "customer_name",
            "purchase_reference",
            "standards",
            "decision_rule",
            "guard_factor",
            "statements",
            "discharge_procedure",
            "hold_kinds",
            "witness_kinds",
            "wanted_on",
            "remarks",
            "entered_at",
            "reviewed_at",
            "version",
            "reason",
        )
        read_only_fields = ("number", "entered_at", "reviewed_at")


class UnitSerializer(serializers.ModelSerializer):
    """A unit with its ratings; `plan_revision` is that of the plan that holds."""

    order = VisibleRelatedField(model=Order)
    order_number = serializers.CharField(source="order.number", read_only=True)
    equipment = serializers.ChoiceField(list(EQUIPMENT_KINDS.items()))
    ratings = serializers.DictField(help_text="As RATINGS.json of the shell contract, without what the order settles.")
    plan_revision = serializers.IntegerField(read_only=True, allow_null=True, default=None)
    version = serializers.IntegerField(required=False, help_text="As it was read; needed for a change.")
    reason = serializers.CharField(write_only=True, required=False, allow_blank=True, max_length=500)

    class Meta:
        model = Unit
        fields = (
            "id",
            "number",
            "order",
            "order_number",
            "serial",
            "equipment",
            "design",
            "ratings",
            "received_on",
            "condition",
            "entered_at",
            "plan_revision",
            "version",
            "reason",
        )
        read_only_fields = ("number", "entered_at")
        validators: list[Any] = []  # the service names every duplicate


class SeveralUnitsSerializer(UnitSerializer):
    """Several alike units at once."""

    serials = serializers.ListField(child=serializers.CharField(max_length=80), min_length=1, max_length=200)

    class Meta(UnitSerializer.Meta):
        fields = ("order", "serials", "equipment", "design", "ratings", "received_on", "condition")  # type: ignore[assignment]


class ProposalSerializer(serializers.Serializer):
    """The plan that follows now, with its digest."""

    digest = serializers.CharField()
    document = serializers.DictField()


class ArrangementSerializer(serializers.ModelSerializer):
    """Which terminals are energised and which earthed."""

    class Meta:
        model = Arrangement
        fields = ("id", "position", "name", "energised", "earthed")


class StepSerializer(serializers.ModelSerializer):
    """One test of a plan."""

    arrangements = ArrangementSerializer(many=True, read_only=True)

    class Meta:
        model = Step
        fields = ("id", "position", "kind", "title", "point", "released_at", "document", "arrangements")


class PlanSerializer(serializers.ModelSerializer):
    """A revision of a plan, its steps and their arrangements."""

    steps = StepSerializer(many=True, read_only=True)
    packs = serializers.JSONField(source="document.packs", read_only=True)
    ratings = serializers.JSONField(source="document.ratings", read_only=True)

    class Meta:
        model = Plan
        fields = ("id", "unit", "revision", "is_current", "digest", "made_at", "ratings", "packs", "steps")


class AdoptionSerializer(serializers.Serializer):
    """Which unit's plan is adopted; `expected_digest` makes sure that it is the one that was read."""

    unit = VisibleRelatedField(model=Unit)
    expected_digest = serializers.CharField(required=False, allow_blank=True, max_length=64)
    reason = serializers.CharField(required=False, allow_blank=True, max_length=500)
