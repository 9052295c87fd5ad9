"""Addresses of the API: what each app offers, and its description."""

from __future__ import annotations

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.permissions import IsAuthenticated
from rest_framework.routers import DefaultRouter

from equipment.api import router_entries as equipment_entries
from records.api.schema import TokenScheme
from records.api.views import router_entries
from schedules.api import router_entries as schedule_entries

__all__ = ["TokenScheme", "app_name", "urlpatterns"]

app_name = "api"
router = DefaultRouter()
for prefix, viewset in [*schedule_entries, *router_entries, *equipment_entries]:
    router.register(prefix, viewset, basename=prefix)

urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(permission_classes=[IsAuthenticated]), name="schema"),
    path("", include(router.urls)),
]
