"""Portal: what customers and witnesses see."""

from django.apps import AppConfig


class PortalConfig(AppConfig):
    """The app of the portal's pages; it owns no tables."""

    name = "records.portal"
    label = "portal"
