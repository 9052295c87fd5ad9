"""Nobody overwrites what he has not seen."""

from __future__ import annotations

import pytest
from django.db import connection, models
from django.test.utils import isolate_apps

from labsite.ledger.models import Entry
from labsite.ledger.services import StaleEdit, change_fields, create_with_entry

pytestmark = pytest.mark.django_db


@pytest.fixture
def thing(db):
    """A stored record with a version, in a table of this test only."""
    with connection.cursor() as cursor:
        cursor.execute(
            "CREATE TABLE demo_thing (id integer PRIMARY KEY, name varchar(50), mass_kg decimal(8, 2), version integer)"
        )
    with isolate_apps("labsite.ledger"):

        class Thing(models.Model):
            id = models.IntegerField(primary_key=True)
            name = models.CharField("name plate", max_length=50)
            mass_kg = models.DecimalField("mass in kg", max_digits=8, decimal_places=2)
            version = models.PositiveIntegerField(default=1)

            class Meta:
                app_label = "ledger"
                db_table = "demo_thing"

            def __str__(self):
                return self.name

    return create_with_entry(
        instance=Thing(pk=7, name="Bushing A", mass_kg="12.50"), action="demo.create_thing", by="A. Witness"
    )


def test_a_new_record_lists_its_values(thing):
    entry = Entry.objects.get()
    assert entry.changes == {"name": [None, "Bushing A"], "mass_kg": [None, "12.50"], "version": [None, 1]}
    assert (entry.subject_type, entry.subject_id, entry.subject_label) == ("ledger.thing", "7", "Bushing A")


def test_a_change_gives_old_new_and_why(thing):
    changed = change_fields(
        instance=thing,
        version=1,
        changes={"name": "Bushing B", "mass_kg": "12.5"},
        action="demo.change_thing",
        reason="name plate read again",
        by="A. Witness",
    )
    entry = Entry.objects.get(sequence=2)
    assert (changed.name, changed.version) == ("Bushing B", 2)
    assert entry.changes == {"name": ["Bushing A", "Bushing B"]}
    assert entry.reason == "name plate read again"


def test_no_change_gives_no_entry(thing):
    changed = change_fields(instance=thing, version=1, changes={"name": "Bushing A"}, action="demo.change", by="A. W.")
    assert changed.version == 1
    assert Entry.objects.count() == 1


def test_a_stale_edit_is_refused_with_both_values(thing):
    change_fields(instance=thing, version=1, changes={"name": "Bushing B"}, action="demo.change", by="A. Witness")
    with pytest.raises(StaleEdit) as refused:
        change_fields(instance=thing, version=1, changes={"name": "Bushing C"}, action="demo.change", by="B. Other")
    [conflict] = refused.value.conflicts
    assert (conflict.label, conflict.current, conflict.yours) == ("Name plate", "Bushing B", "Bushing C")
    assert type(thing)._base_manager.get(pk=7).name == "Bushing B"
    assert Entry.objects.count() == 2
