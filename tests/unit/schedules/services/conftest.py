"""An order and a unit for the tests of the services."""

import pytest

from tests.orders import a_unit, an_order


@pytest.fixture
def order(customer_company, tester, approver):
    """Return a reviewed order."""
    return an_order(customer=customer_company, by=tester, reviewed_by=approver)


@pytest.fixture
def unit(order, tester):
    """Return a series reactor of 15.5 kV, 110 kV BIL."""
    return a_unit(order=order, by=tester)
