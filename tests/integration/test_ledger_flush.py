"""Transactional tests leave an empty ledger behind and its triggers in force."""

from __future__ import annotations

import pytest
from django.db import connection

from labsite.ledger import triggers
from labsite.ledger.models import Entry
from labsite.ledger.services import record_entry, writing

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.mark.parametrize("turn", ["first", "second"])
def test_each_transactional_test_begins_empty_and_guarded(turn):
    assert not Entry.objects.exists()
    assert set(triggers.trigger_names(connection.vendor, "ledger_entry")) <= triggers.present_triggers(connection)
    with writing():
        record_entry(action="demo.note", subject=("demo.thing", 1, "Thing"), by="A. Witness")
    assert Entry.objects.count() == 1
