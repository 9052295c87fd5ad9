"""The append-only account of everything that was done."""

from __future__ import annotations

from django.apps import AppConfig
from django.utils.module_loading import autodiscover_modules


class LedgerConfig(AppConfig):
    name = "labsite.ledger"
    label = "ledger"
    verbose_name = "Ledger"

    def ready(self) -> None:
        from labsite.ledger import checks  # noqa: F401

        autodiscover_modules("deeds")
