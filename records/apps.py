"""Records: runs, records, findings, certificates: what was tested and what came of it."""

from django.apps import AppConfig


class RecordsConfig(AppConfig):
    """The app of runs and certificates."""

    name = "records"
