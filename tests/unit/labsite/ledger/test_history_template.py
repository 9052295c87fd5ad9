"""The history partial says who, when, what from which value to which, and why."""

from __future__ import annotations

from datetime import UTC, datetime

from django.template.loader import render_to_string

from labsite.ledger.models import Entry


def test_an_entry_is_told_in_full_and_escaped():
    entry = Entry(
        sequence=7,
        at=datetime(2026, 3, 4, 10, 30, tzinfo=UTC),
        actor_label="A. Witness",
        action="demo.change",
        changes={"name": ["Reactor", "<b>Bushing</b>"], "highest_voltage_kv": [None, 15.5], "version": [1, 2]},
        reason="name plate read again",
    )
    page = render_to_string("ledger/history.html", {"entries": [entry]})
    for words in ("A. Witness", "Change", "<del>Reactor</del>", "&lt;b&gt;Bushing&lt;/b&gt;", "15.5 kV"):
        assert words in page
    assert "Why: name plate read again" in page
    assert "Highest voltage" in page
    assert "Version" not in page
    assert 'datetime="2026-03-04T10:30:00+00:00"' in page


def test_an_empty_history_says_what_will_stand_there():
    assert "Nothing was recorded here yet" in render_to_string("ledger/history.html", {"entries": []})
