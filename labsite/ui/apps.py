"""The look of the site: templates, components, tokens."""

from django.apps import AppConfig


class UiConfig(AppConfig):
    """Brings templates and static files; it has no tables."""

    name = "labsite.ui"
    label = "ui"
    verbose_name = "Look"
