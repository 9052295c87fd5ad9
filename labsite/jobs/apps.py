"""Work done in the background, and kept account of."""

from __future__ import annotations

from django.apps import AppConfig
from django.utils.module_loading import autodiscover_modules


class JobsConfig(AppConfig):
    name = "labsite.jobs"
    label = "jobs"
    verbose_name = "Jobs"

    def ready(self) -> None:
        """Read each app's tasks.py, so that every job is known by its name."""
        autodiscover_modules("tasks")
