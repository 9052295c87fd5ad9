"""Entries are written with the deed, one after another, and cannot be changed."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import pytest
import rfc8785
from django.contrib.auth import get_user_model
from django.core.checks import run_checks
from django.db import IntegrityError, connection, transaction

from labsite.ledger import canonical, triggers
from labsite.ledger.models import Entry
from labsite.ledger.selectors import history_of
from labsite.ledger.services import NotWriting, record_entry, writing

pytestmark = pytest.mark.django_db


def _note(number: int = 1, **more) -> Entry:
    with writing():
        return record_entry(
            action="demo.note", subject=("demo.thing", number, f"Thing {number}"), by="A. Witness", **more
        )


def _note_and_stop() -> None:
    with writing():
        record_entry(action="demo.note", subject=("demo.thing", 2, "Thing 2"), by="A. Witness")
        raise RuntimeError("stop")


def test_an_entry_outside_a_transaction_is_refused():
    with pytest.raises(NotWriting, match=r"demo\.note"):
        record_entry(action="demo.note", subject=("demo.thing", 1, "Thing"), by="A. Witness")
    assert not Entry.objects.exists()


def test_sequences_have_no_gap_even_after_a_rolled_back_deed():
    _note()
    with pytest.raises(RuntimeError, match="stop"):
        _note_and_stop()
    _note(3)
    assert list(Entry.objects.values_list("sequence", "subject_id")) == [(1, "1"), (2, "3")]


def test_the_digest_is_the_leaf_hash_of_the_canonical_content():
    entry = _note(changes={"mass_kg": [Decimal("1.50"), 2.5]}, reason="weighed again")
    content = {
        "sequence": 1,
        "at": entry.at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
        "actor": None,
        "actor_label": "A. Witness",
        "action": "demo.note",
        "subject_type": "demo.thing",
        "subject_id": "1",
        "subject_label": "Thing 1",
        "changes": {"mass_kg": ["1.50", 2.5]},
        "reason": "weighed again",
        "request_id": "",
        "previous_digest": "0" * 64,
    }
    assert entry.digest == hashlib.sha256(b"\x00" + rfc8785.dumps(content)).hexdigest()
    assert Entry.objects.get().computed_digest() == entry.digest


@pytest.mark.parametrize("value", [1e22, 2**60, -0.0, 5e-324, 1.7e308, "a\x00b", "\ud800", True, None, [1, {"a": 2}]])
def test_odd_values_keep_their_digest_through_the_database(value):
    entry = _note(changes={"value": [None, value]})
    assert Entry.objects.get().computed_digest() == entry.digest


@pytest.mark.parametrize("value", [float("nan"), float("inf"), Decimal("NaN"), datetime(2026, 1, 1), object()])
def test_values_without_one_spelling_are_refused(value):
    with pytest.raises(canonical.NotForTheLedger):
        _note(changes={"value": [None, value]})
    assert not Entry.objects.exists()


def test_times_are_told_in_utc():
    at = datetime(2026, 3, 4, 12, 0, tzinfo=timezone(timedelta(hours=2)))
    assert canonical.plain(at) == "2026-03-04T10:00:00.000000Z"


def _sql(statement: str) -> None:
    connection.check_constraints()
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)


@pytest.mark.parametrize(
    "statement",
    ["UPDATE ledger_entry SET reason = 'other'", "DELETE FROM ledger_entry", "TRUNCATE ledger_entry", "REPLACE"],
)
def test_the_database_refuses_change_and_removal(statement):
    _note()
    if statement.startswith("TRUNCATE") and connection.vendor != "postgresql":
        statement = "DELETE FROM ledger_entry"
    if statement == "REPLACE":
        columns = ", ".join(field.column for field in Entry._meta.concrete_fields)
        statement = (
            f"INSERT OR REPLACE INTO ledger_entry ({columns}) SELECT {columns} FROM ledger_entry"
            if connection.vendor == "sqlite"
            else f"INSERT INTO ledger_entry ({columns}) SELECT {columns} FROM ledger_entry "
            "ON CONFLICT (sequence) DO UPDATE SET reason = 'other'"
        )
    with pytest.raises(IntegrityError, match="append-only"):
        _sql(statement)
    assert Entry.objects.get().reason == ""


def test_the_check_finds_a_missing_trigger():
    assert run_checks(tags=["database"], databases=["default"]) == []
    _sql(triggers.remove_statements(connection.vendor, "ledger_entry")[0])
    assert [error.id for error in run_checks(tags=["database"], databases=["default"])] == ["ledger.E001"]


def test_lifted_triggers_come_back():
    expected = set(triggers.trigger_names(connection.vendor, "ledger_entry"))
    with triggers.lifted(connection):
        assert not triggers.present_triggers(connection) & expected
    assert expected <= triggers.present_triggers(connection)


def test_history_is_for_those_who_are_signed_in():
    _note(1)
    _note(2)
    viewer = get_user_model()(pk=1, is_active=True)
    assert [entry.subject_id for entry in history_of("demo.thing", 2, viewer)] == ["2"]
    viewer.is_active = False
    assert not history_of("demo.thing", 2, viewer)
    assert not history_of("demo.thing", 2, None)
