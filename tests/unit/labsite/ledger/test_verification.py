"""Whoever alters, removes, inserts or moves an entry behind the application's back is found."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from labsite.ledger import merkle, triggers
from labsite.ledger.models import Entry
from labsite.ledger.selectors import Anchor, current_anchor, proof_of, verify_chain
from labsite.ledger.services import record_entry, writing

pytestmark = pytest.mark.django_db
COUNT = 12


@pytest.fixture
def account(db):
    """Twelve entries, and the triggers lifted as an insider would."""
    with writing():
        for number in range(1, COUNT + 1):
            record_entry(
                action="demo.note",
                subject=("demo.thing", number, f"Thing {number}"),
                changes={"value": [number, number + 0.5]},
                by="A. Witness",
            )
    with connection.cursor() as cursor:
        for statement in triggers.remove_statements(connection.vendor, "ledger_entry"):
            cursor.execute(statement)


def test_a_sound_ledger_is_sound(account):
    report = verify_chain()
    assert (report.is_sound, report.count, report.first_bad) == (True, COUNT, None)
    assert report.head == current_anchor().head


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("actor_label", "B. Other"),
        ("action", "demo.other"),
        ("subject_type", "demo.other"),
        ("subject_id", "99"),
        ("subject_label", "Other"),
        ("changes", {"value": [1, 2]}),
        ("reason", "other"),
        ("request_id", "other"),
        ("digest", "f" * 64),
        ("previous_digest", "f" * 64),
    ],
)
def test_an_altered_field_is_found_at_its_entry(account, column, value):
    Entry.objects.filter(sequence=5).update(**{column: value})
    report = verify_chain()
    assert (report.is_sound, report.first_bad) == (False, 5)


@pytest.mark.parametrize("removed", range(1, COUNT))
def test_a_removed_entry_is_found(account, removed):
    Entry.objects.filter(sequence=removed).delete()
    assert verify_chain().first_bad == removed


def test_an_inserted_and_a_moved_entry_are_found(account):
    entry = Entry.objects.get(sequence=3)
    entry.pk, entry.digest = 0, "a" * 64
    entry.save(force_insert=True)
    assert verify_chain().first_bad == 1
    Entry.objects.filter(sequence=0).delete()
    Entry.objects.filter(sequence=4).update(sequence=100)
    Entry.objects.filter(sequence=5).update(sequence=4)
    Entry.objects.filter(sequence=100).update(sequence=5)
    assert verify_chain().first_bad == 4


def test_a_cut_end_is_found_by_an_anchor(account):
    anchor = current_anchor()
    Entry.objects.filter(sequence__gt=9).delete()
    assert verify_chain().is_sound
    report = verify_chain(anchor)
    assert not report.is_sound
    assert "cut off" in report.reason


def test_a_ledger_written_anew_is_found_by_an_anchor(account):
    anchor = current_anchor()
    previous = Entry.objects.get(sequence=5).digest
    for entry in Entry.objects.filter(sequence__gt=5):
        entry.reason, entry.previous_digest = "other", previous
        entry.digest = previous = entry.computed_digest()
        entry.save()
    assert verify_chain().is_sound
    assert "written anew" in verify_chain(anchor).reason


def test_an_older_anchor_fits_a_ledger_that_only_grew(account):
    anchor = current_anchor()
    with writing():
        record_entry(action="demo.note", subject=("demo.thing", 1, "Thing"), by="A. Witness")
    assert verify_chain(anchor).is_sound
    assert verify_chain(Anchor(0, merkle.EMPTY_HEAD.hex())).is_sound


def test_an_entry_is_proved_to_be_in_the_ledger(account):
    proof, anchor = proof_of(7)
    leaf = bytes.fromhex(Entry.objects.get(sequence=7).digest)
    nodes = [bytes.fromhex(node) for node in proof]
    assert merkle.is_included(leaf, 6, anchor.count, nodes, bytes.fromhex(anchor.head))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    sequence=st.integers(1, COUNT),
    field=st.sampled_from(["actor_label", "reason", "subject_id"]),
    text=st.text(max_size=20),
)
def test_any_alteration_at_all_is_found(account, sequence, field, text):
    text = text.replace("\x00", "").encode("utf-8", "ignore").decode()
    before = getattr(Entry.objects.get(sequence=sequence), field)
    Entry.objects.filter(sequence=sequence).update(**{field: text})
    report = verify_chain()
    Entry.objects.filter(sequence=sequence).update(**{field: before})
    assert report.is_sound == (text == before)
    assert report.is_sound or report.first_bad == sequence
    assert verify_chain().is_sound


def test_the_command_says_so(account, capsys):
    call_command("verify_ledger")
    assert "Sound. 12 entries" in capsys.readouterr().out
    Entry.objects.filter(sequence=5).update(reason="other")
    with pytest.raises(SystemExit) as stopped:
        call_command("verify_ledger")
    assert stopped.value.code == 1
    assert "First bad entry: 5" in capsys.readouterr().out


def test_the_command_needs_both_parts_of_an_anchor(account):
    with pytest.raises(CommandError, match="belong together"):
        call_command("verify_ledger", "--count", "3")
