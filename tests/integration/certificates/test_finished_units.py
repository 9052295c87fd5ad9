"""The migration that tells which units of an older database are finished."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.db import connection
from django.utils import timezone

from records import migrations
from records.models import Certificate
from schedules.models import Unit

pytestmark = pytest.mark.django_db


def run_migration():
    """Run the step of the migration, whatever its number."""
    (name,) = [
        path.stem
        for folder in map(Path, migrations.__path__)
        for path in folder.glob("*_finished_units_of_issued_certificates.py")
    ]
    import_module(f"records.migrations.{name}").note_units(apps, SimpleNamespace(connection=connection))


@pytest.mark.parametrize(
    ("state", "is_finished"),
    [("issued", True), ("draft", False), ("composing", False), ("superseded", False), ("withdrawn", False)],
)
def test_an_issued_certificate_finishes_its_unit(unit, approver, state, is_finished):
    moment = timezone.now() if state in ("issued", "superseded", "withdrawn") else None
    who = approver if moment else None
    Certificate.objects.create(
        number="C-1", unit=unit, state=state, requested_by=approver, issued_by=who, issued_at=moment
    )
    run_migration()
    assert Unit.objects.get(pk=unit.pk).finished_at == (moment if is_finished else None)


def test_what_is_known_already_stays(unit, approver):
    known, later = timezone.now(), timezone.now()
    Unit.objects.filter(pk=unit.pk).update(finished_at=known)
    Certificate.objects.create(
        number="C-1", unit=unit, state="issued", requested_by=approver, issued_by=approver, issued_at=later
    )
    run_migration()
    assert Unit.objects.get(pk=unit.pk).finished_at == known
