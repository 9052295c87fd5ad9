"""Pytest plugin: lifts the append-only triggers while a transactional test empties its database, and only then."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import TransactionTestCase


@pytest.fixture(autouse=True, scope="session")
def lift_triggers_to_empty_test_databases():
    """Wrap the flush of transactional tests; everything else meets the triggers."""
    from labsite.ledger.triggers import lifted

    original = TransactionTestCase._fixture_teardown

    def teardown(self):
        with lifted(connection):
            original(self)

    TransactionTestCase._fixture_teardown = teardown
    yield
    TransactionTestCase._fixture_teardown = original
