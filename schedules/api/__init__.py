"""The API of orders, units and plans; whoever mounts it registers `router_entries`."""

from schedules.api.views import OrderViewSet, PlanViewSet, UnitViewSet

router_entries = [("orders", OrderViewSet), ("units", UnitViewSet), ("plans", PlanViewSet)]

__all__ = ["OrderViewSet", "PlanViewSet", "UnitViewSet", "router_entries"]
