"""Optimistic edits: nobody overwrites what he has not seen."""

from __future__ import annotations

from typing import Any, TypeVar

from django.db import models

from labsite.ledger.errors import StaleEdit
from labsite.ledger.models import Entry
from labsite.ledger.services.entries import record_entry, subject_of
from labsite.ledger.services.transactions import writing

M = TypeVar("M", bound=models.Model)


def _label(instance: models.Model, name: str) -> str:
    return str(getattr(instance._meta.get_field(name), "verbose_name", name)).capitalize()


def _value(instance: models.Model, name: str, value: Any) -> Any:
    """Return the value as the field stores it, so that "1" and 1 are no change."""
    field = instance._meta.get_field(name)
    if isinstance(value, models.Model) or field.is_relation:
        return value
    return field.to_python(value)


def _stale(row: models.Model, current: dict[str, Any], yours: dict[str, Any]) -> StaleEdit:
    kind, identity, label = subject_of(row)
    last = Entry.objects.filter(subject_type=kind, subject_id=identity).order_by("-sequence").first()
    who = {"by": last.actor_label, "at": last.at} if last else {}
    return StaleEdit(current, yours, {name: _label(row, name) for name in yours}, subject=label, **who)


def change_fields(*, instance: M, version: int, changes: dict[str, Any], action: str, reason: str = "", by: Any) -> M:
    """Change fields of a record as its editor saw it at `version`, and return the row as it now is.

    The model has an integer `version`. A row that moved on raises `StaleEdit` with both values; nothing is stored.
    Values that stay the same are left out of the entry; when all do, there is no entry and the version stays.
    """
    with writing():
        row = type(instance)._base_manager.select_for_update().get(pk=instance.pk)
        yours = {name: _value(row, name, value) for name, value in changes.items()}
        current = {name: getattr(row, name) for name in yours}
        if row.version != version:
            raise _stale(row, current, yours)
        moved = {name: value for name, value in yours.items() if current[name] != value}
        if not moved:
            return row
        for name, value in moved.items():
            setattr(row, name, value)
        row.version += 1
        row.save(update_fields=[*moved, "version"])
        pairs = {name: [current[name], value] for name, value in moved.items()}
        record_entry(action=action, subject=row, changes=pairs, reason=reason, by=by)
        return row


def create_with_entry(*, instance: M, action: str, reason: str = "", by: Any) -> M:
    """Store a new record and the entry that lists its values."""
    with writing():
        instance.save(force_insert=True)
        fields = [field for field in instance._meta.concrete_fields if not field.primary_key]
        values = {field.name: [None, getattr(instance, field.name)] for field in fields}
        record_entry(action=action, subject=instance, changes=values, reason=reason, by=by)
        return instance
