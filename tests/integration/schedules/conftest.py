"""A signed-in browser for anybody, an order and a unit."""

import uuid
from urllib.parse import urlencode

import pytest
from django.test import Client

from tests.orders import a_unit, an_order


@pytest.fixture
def browser():
    """Return a function that signs a person in and gives the client."""

    def signed_in(person):
        client = Client()
        client.force_login(person)
        return client

    return signed_in


@pytest.fixture
def send(browser):
    """Return a function that sends a form as somebody, with a fresh once-key."""

    def post(person, url, **fields):
        sent = {"_once": str(uuid.uuid4()), **fields}
        if any(hasattr(value, "read") for value in fields.values()):
            return browser(person).post(url, sent)
        return browser(person).post(url, urlencode(sent, doseq=True), content_type="application/x-www-form-urlencoded")

    return post


@pytest.fixture
def order(customer_company, tester, approver):
    """Return a reviewed order."""
    return an_order(customer=customer_company, by=tester, reviewed_by=approver)


@pytest.fixture
def unit(order, tester):
    """Return a series reactor of 15.5 kV, 110 kV BIL."""
    return a_unit(order=order, by=tester)
