"""One unit with its plan, calibrated systems and authorised people."""

from __future__ import annotations

import pytest

from tests.integration.records import laboratory


@pytest.fixture
def unit(tester, customer_company):
    """Return a unit with its plan."""
    return laboratory.unit_with_plan(entered_by=tester, company=customer_company)


@pytest.fixture
def voltage_system(tester):
    """Return a calibrated voltage measuring system."""
    return laboratory.system("voltage", "D-50", entered_by=tester)


@pytest.fixture
def charge_system(tester):
    """Return a calibrated charge measuring system."""
    return laboratory.system("charge", "Q-07", entered_by=tester)


@pytest.fixture
def overdue_system(tester):
    """Return a voltage measuring system that is overdue by ten days."""
    return laboratory.system("voltage", "D-09", entered_by=tester, due_in_days=-10)


@pytest.fixture
def people(tester, second_tester, approver):
    """Return operator, second person and approver, all authorised."""
    laboratory.authorise(tester)
    laboratory.authorise(approver, activity="approve")
    return tester, second_tester, approver


@pytest.fixture
def start(unit, people):
    """Return how to start a run of one kind and arrangement."""

    def started(kind: str = "partial_discharge", place: int = 1) -> laboratory.Way:
        return laboratory.Way(laboratory.arrangement_of(unit, kind, place), *people)

    return started


@pytest.fixture
def prepared(start, voltage_system, charge_system):
    """Return how to start a run with everything checked before voltage."""

    def ready(kind: str = "partial_discharge", place: int = 1) -> laboratory.Way:
        return start(kind, place).prepare(voltage_system, charge_system)

    return ready
