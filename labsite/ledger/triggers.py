"""Append-only tables: triggers that refuse change and removal on SQLite and PostgreSQL, as a migration operation.

They stop accidents and careless scripts. Somebody who owns the file or the table can lift them; the digests show that.
SQLite drops a table's triggers when a migration rebuilds it, so repeat `AppendOnly` after such a migration;
the system check `ledger.E001` finds a missing one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.apps import apps
from django.db import models
from django.db.migrations.operations.base import Operation, OperationCategory

_NAME = re.compile(r"[a-z][a-z0-9_]{0,50}")
_FUNCTION = """
CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'restrict_violation'; END $$
"""


def _checked(*names: str) -> None:
    for name in names:
        if not _NAME.fullmatch(name):
            raise ValueError(f"{name!r} is not a plain table or column name.")


def trigger_names(vendor: str, table: str) -> list[str]:
    """Return the triggers an append-only table has."""
    third = "overwrite" if vendor == "sqlite" else "truncate"
    return [f"{table}_no_update", f"{table}_no_delete", f"{table}_no_{third}"]


def install_statements(vendor: str, table: str, keys: tuple[str, ...]) -> list[str]:
    """Return the statements that make the table append-only; `keys` are its unique columns."""
    _checked(table, *keys)
    if vendor == "sqlite":
        refuse = f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        # INSERT OR REPLACE removes the old row without its delete trigger, so an existing key is refused before.
        taken = " OR ".join(f'"{key}" = NEW."{key}"' for key in keys)
        guard = f'WHEN EXISTS (SELECT 1 FROM "{table}" WHERE {taken})'  # noqa: S608 names are checked above
        return [
            f'CREATE TRIGGER "{table}_no_update" BEFORE UPDATE ON "{table}" {refuse}',
            f'CREATE TRIGGER "{table}_no_delete" BEFORE DELETE ON "{table}" {refuse}',
            f'CREATE TRIGGER "{table}_no_overwrite" BEFORE INSERT ON "{table}" {guard} {refuse}',
        ]
    if vendor == "postgresql":
        row = "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        return [
            _FUNCTION,
            f'CREATE TRIGGER "{table}_no_update" BEFORE UPDATE ON "{table}" {row}',
            f'CREATE TRIGGER "{table}_no_delete" BEFORE DELETE ON "{table}" {row}',
            f'CREATE TRIGGER "{table}_no_truncate" BEFORE TRUNCATE ON "{table}" '
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()",
        ]
    raise ValueError(f"No append-only triggers are known for {vendor}.")


def remove_statements(vendor: str, table: str) -> list[str]:
    """Return the statements that lift the triggers."""
    _checked(table)
    on = f' ON "{table}"' if vendor == "postgresql" else ""
    return [f'DROP TRIGGER IF EXISTS "{name}"{on}' for name in trigger_names(vendor, table)]


def present_triggers(connection: Any) -> set[str]:
    """Return the names of the triggers that are in force."""
    query = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'",
    }[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(query)
        return {row[0] for row in cursor.fetchall()}


def append_only_models() -> list[type[models.Model]]:
    """Return the models that say `append_only = True`."""
    return [model for model in apps.get_models() if getattr(model, "append_only", False)]


def unique_columns(model: type[models.Model]) -> tuple[str, ...]:
    """Return the columns that alone identify a row."""
    return tuple(str(field.column) for field in model._meta.local_concrete_fields if field.unique)


@contextmanager
def lifted(connection: Any) -> Iterator[None]:
    """Lift the triggers of every append-only model and put them back: only for emptying a test database."""
    standing = present_triggers(connection)
    chosen = [
        model
        for model in append_only_models()
        if standing & set(trigger_names(connection.vendor, model._meta.db_table))
    ]
    _run(connection, [s for m in chosen for s in remove_statements(connection.vendor, m._meta.db_table)])
    try:
        yield
    finally:
        for model in chosen:
            table = model._meta.db_table
            _run(connection, install_statements(connection.vendor, table, unique_columns(model)))


def _run(connection: Any, statements: list[str]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


class AppendOnly(Operation):
    """Migration operation: make `table` append-only. `keys` are its unique columns (SQLite guards them)."""

    reduces_to_sql = True
    reversible = True
    category = OperationCategory.SQL

    def __init__(self, table: str, keys: tuple[str, ...] = ("id",)) -> None:
        self.table = table
        self.keys = tuple(keys)

    def state_forwards(self, app_label: str, state: Any) -> None:
        """The models do not change."""

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        vendor = schema_editor.connection.vendor
        for statement in remove_statements(vendor, self.table) + install_statements(vendor, self.table, self.keys):
            schema_editor.execute(statement, params=None)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        for statement in remove_statements(schema_editor.connection.vendor, self.table):
            schema_editor.execute(statement, params=None)

    def describe(self) -> str:
        return f"Make {self.table} append-only"
