"""The append-only account of everything that was done."""

from __future__ import annotations

from django.apps import AppConfig


class LedgerConfig(AppConfig):
    name = "labsite.ledger"
    label = "ledger"
    verbose_name = "Ledger"

    def ready(self) -> None:
        from labsite.ledger import checks  # noqa: F401
