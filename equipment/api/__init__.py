"""The part of the API that shows instruments."""

from equipment.api.views import InstrumentViewSet, router_entries

__all__ = ["InstrumentViewSet", "router_entries"]
