"""Instruments for programs: reading only, for the laboratory's own people."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.http import Http404
from rest_framework.permissions import BasePermission, IsAuthenticated
from rest_framework.request import Request
from rest_framework.serializers import BaseSerializer
from rest_framework.viewsets import ReadOnlyModelViewSet

from equipment.api.serializers import InstrumentDetailSerializer, InstrumentSerializer
from equipment.models import Instrument
from equipment.models.instrument import InstrumentQuerySet


class LaboratoryOnly(BasePermission):
    """404 to customers and witnesses, 403 to the administrator."""

    def has_permission(self, request: Request, view: Any) -> bool:
        """Say whether the person belongs to the laboratory's technical work."""
        user: Any = request.user
        if not user.is_laboratory and not user.is_administrator:
            raise Http404
        return bool(user.is_laboratory)


class InstrumentViewSet(ReadOnlyModelViewSet):
    """List and detail of instruments with their status of today."""

    queryset = InstrumentQuerySet(Instrument).none()
    permission_classes = (IsAuthenticated, LaboratoryOnly)

    def get_queryset(self) -> QuerySet[Instrument]:
        """Return what this person may see."""
        found = Instrument.objects.visible_to(self.request.user)
        return found.for_list() if self.action == "list" else found.for_detail()

    def get_serializer_class(self) -> type[BaseSerializer]:
        """Return the short form for lists, the whole one for one instrument."""
        return InstrumentSerializer if self.action == "list" else InstrumentDetailSerializer


router_entries = [("instruments", InstrumentViewSet)]
