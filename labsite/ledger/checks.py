"""System check: every append-only table has its triggers."""

from __future__ import annotations

from typing import Any

from django.core.checks import Error, Tags, register
from django.db import connections

from labsite.ledger import triggers


@register(Tags.database)
def append_only_tables(*, databases: list[str] | None = None, **kwargs: Any) -> list[Error]:
    """Return an error for each trigger that is missing from an existing table."""
    return [error for alias in databases or [] for error in _missing(connections[alias])]


def _missing(connection: Any) -> list[Error]:
    tables, standing = set(connection.introspection.table_names()), triggers.present_triggers(connection)
    expected = [
        (model, name)
        for model in triggers.append_only_models()
        if model._meta.db_table in tables
        for name in triggers.trigger_names(connection.vendor, model._meta.db_table)
    ]
    return [
        Error(
            f"The trigger {name} is missing: {model._meta.db_table} could be changed unnoticed.",
            hint="Add a migration with AppendOnly for this table, then run migrate.",
            obj=model,
            id="ledger.E001",
        )
        for model, name in expected
        if name not in standing
    ]
