"""Entries in words: deeds, labels with units, days, digests and lists."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.utils import timezone

from labsite.ledger import wording
from labsite.ledger.wording import Told, changes_in_words, deed_in_words

ROOT = Path(__file__).resolve().parents[4]
ACTION = re.compile(r'action="([a-z_]+\.[a-z_.]+)"')


@pytest.mark.parametrize(
    ("name", "pair", "told"),
    [
        ("source_kv", [None, 100.0], Told("Source", "", "100 kV")),
        ("received_on", [None, "2026-11-24"], Told("Received on", "", "24 Nov 2026")),
        ("customer", ["Fennmark (#4)", "Oxbow (#5)"], Told("Customer", "Fennmark", "Oxbow")),
        ("state", ["in_use", "sent_away"], Told("State", "in use", "sent away")),
        ("is_reviewed", [False, True], Told("Is reviewed", "no", "yes")),
        ("ratings", [None, {"source_kv": 15.5, "phases": 3}], Told("Ratings", "", "source 15.5 kV, phases 3")),
        ("roles", [["tester"], ["tester", "approver"]], Told("Roles", "tester", "tester, approver")),
        ("remarks", ["urgent", ""], Told("Remarks", "urgent", wording.NOTHING)),
        ("sha256", [None, "ab" * 32], Told("Sha256", "", "abab…abab")),
    ],
)  # fmt: skip
def test_a_field_is_told(name, pair, told):
    assert changes_in_words({name: pair}) == [told]


def test_an_instant_is_told_in_the_laboratorys_time():
    with timezone.override("Europe/Oslo"):
        assert changes_in_words({"issued_at": [None, "2026-11-24T14:05:09.1Z"]})[0].after == "24 Nov 2026, 15:05"


def test_what_says_nothing_is_left_out():
    assert changes_in_words({"version": [1, 2], "design": [None, ""], "standards": [None, []]}) == []


def test_every_deed_of_the_site_has_words_of_its_own():
    folders = ("labsite", "equipment", "schedules", "records")
    found = {
        action
        for name in folders
        for path in (ROOT / name).rglob("*.py")
        for action in ACTION.findall(path.read_text())
    }
    assert len(found) > 30
    unnamed = {action for action in found if action not in wording._DEEDS}
    assert not unnamed, f"Name them in the app's deeds.py: {sorted(unnamed)}"
    assert deed_in_words("order.entered") == "Order entered"
