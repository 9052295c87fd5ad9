"""The API of orders, units and plans: the same visibility and the same services as the pages."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import mixins, status, viewsets
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from schedules.api.refusals import refusals_as_answers
from schedules.api.serializers import (
    AdoptionSerializer,
    OrderSerializer,
    PlanSerializer,
    ProposalSerializer,
    SeveralUnitsSerializer,
    UnitSerializer,
)
from schedules.models import Order, Plan, Unit
from schedules.selectors import orders_matching, plan_digest, unit_overview, units_matching
from schedules.services.orders import edit_order, enter_order, review_contract
from schedules.services.plans import adopt_plan, propose_plan
from schedules.services.units import edit_unit, enter_units

OWN_FIELDS = ("equipment", "serial", "standards", "decision_rule", "guard_factor", "statements", "discharge_procedure")


class ReadAndEnter(mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet):
    """Lists and single things; who changes one says which version was read."""

    def checked(self, **options: Any) -> dict[str, Any]:
        """Return what was sent, checked by the serializer."""
        serializer = self.get_serializer(data=self.request.data, **options)
        serializer.is_valid(raise_exception=True)
        return dict(serializer.validated_data)

    def entered(self) -> dict[str, Any]:
        """Return what was sent for a new thing; it has neither a version that was read nor a reason to change."""
        return {name: value for name, value in self.checked().items() if name not in ("version", "reason")}

    def edit(self, sent: dict[str, Any]) -> dict[str, Any]:
        """Return version, reason and changes for a service."""
        if "version" not in sent:
            raise ValidationError({"version": ["Say which version you read; it is in every answer."]})
        return {"version": sent.pop("version"), "reason": sent.pop("reason", ""), "changes": sent}

    def shown(self, instance: Any, code: int = status.HTTP_200_OK) -> Response:
        """Return a thing as the serializer shows it."""
        return Response(self.get_serializer(instance).data, status=code)


class OrderViewSet(ReadAndEnter):
    """Orders: list (`?q=`), read, enter, change, review."""

    queryset = Order.objects.none()
    serializer_class = OrderSerializer

    def get_queryset(self) -> Any:
        """Return the orders that the asking person may see."""
        return orders_matching(self.request.user, words=self.request.GET.get("q", ""))

    def create(self, request: Request) -> Response:
        """Enter an order."""
        terms = self.entered()
        with refusals_as_answers(*OWN_FIELDS):
            made = enter_order(**terms, by=request.user)
        return self.shown(made, status.HTTP_201_CREATED)

    def partial_update(self, request: Request, pk: str) -> Response:
        """Change an order."""
        order = self.get_object()
        with refusals_as_answers(*OWN_FIELDS):
            changed = edit_order(order=order, **self.edit(self.checked(partial=True)), by=request.user)
        return self.shown(changed)

    @extend_schema(request=None)
    @action(detail=True, methods=["post"])
    def review(self, request: Request, pk: str) -> Response:
        """Put down the contract review."""
        order = self.get_object()
        with refusals_as_answers(*OWN_FIELDS):
            reviewed = review_contract(order=order, by=request.user)
        return self.shown(reviewed)


class UnitViewSet(ReadAndEnter):
    """Units: list (`?q=`, `?equipment=`), read, enter one or several, change, see the plan that follows."""

    queryset = Unit.objects.none()
    serializer_class = UnitSerializer

    def get_queryset(self) -> Any:
        """Return the units that the asking person may see."""
        wanted = self.request.GET
        found = units_matching(self.request.user, words=wanted.get("q", ""), equipment=wanted.get("equipment", ""))
        return unit_overview(found)

    def create(self, request: Request) -> Response:
        """Enter one unit."""
        plate = self.entered()
        with refusals_as_answers(*OWN_FIELDS):
            made = enter_units(serials=[plate.pop("serial")], **plate, by=request.user)
        return self.shown(made[0], status.HTTP_201_CREATED)

    @extend_schema(responses={201: UnitSerializer(many=True)})
    @action(detail=False, methods=["post"], serializer_class=SeveralUnitsSerializer)
    def several(self, request: Request) -> Response:
        """Enter several alike units, all or none."""
        with refusals_as_answers(*OWN_FIELDS):
            made = enter_units(**self.checked(), by=request.user)
        return Response(UnitSerializer(made, many=True).data, status=status.HTTP_201_CREATED)

    def partial_update(self, request: Request, pk: str) -> Response:
        """Change a unit."""
        unit = self.get_object()
        sent = self.checked(partial=True)
        with refusals_as_answers(*OWN_FIELDS):
            changed = edit_unit(unit=unit, **self.edit(sent), by=request.user)
        return self.shown(changed)

    @action(detail=True, serializer_class=ProposalSerializer)
    def proposal(self, request: Request, pk: str) -> Response:
        """Return the plan that follows now, without adopting it."""
        with refusals_as_answers(*OWN_FIELDS):
            document = propose_plan(self.get_object())
        return self.shown({"digest": plan_digest(document), "document": document})


class PlanViewSet(ReadAndEnter):
    """Plans: list, read, adopt. A plan is never changed."""

    queryset = Plan.objects.none()
    serializer_class = PlanSerializer

    def get_queryset(self) -> Any:
        """Return the plans that the asking person may see, the newest first."""
        return Plan.objects.visible_to(self.request.user).for_detail().order_by("-pk")

    @extend_schema(request=AdoptionSerializer, responses={201: PlanSerializer})
    @action(detail=False, methods=["post"])
    def adopt(self, request: Request) -> Response:
        """Adopt the plan that follows now for a unit."""
        wanted = AdoptionSerializer(data=request.data, context=self.get_serializer_context())
        wanted.is_valid(raise_exception=True)
        with refusals_as_answers(*OWN_FIELDS):
            made = adopt_plan(**wanted.validated_data, by=request.user)
        return self.shown(made, status.HTTP_201_CREATED)
