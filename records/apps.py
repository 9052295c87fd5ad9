"""Records: runs, records, findings, certificates: what was tested and what came of it."""

from django.apps import AppConfig


class RecordsConfig(AppConfig):
    """The app of runs and certificates."""

    name = "records"

    def ready(self) -> None:
        """Ask to be told when a calibration finds an instrument wrong."""
        from equipment.services.found_wrong import when_found_wrong
        from records.services.impact import open_work

        when_found_wrong("records", open_work)
