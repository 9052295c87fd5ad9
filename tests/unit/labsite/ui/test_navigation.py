"""Who finds which rooms in the head of a page."""

from types import SimpleNamespace

import pytest
from django.contrib.auth.models import AnonymousUser

from labsite.ui import context, navigation

pytestmark = pytest.mark.urls("tests.unit.labsite.ui.rooms")


def someone(*roles):
    return SimpleNamespace(is_authenticated=True, role_names=frozenset(roles))


def rooms(rf, user, path="/"):
    request = rf.get(path)
    request.user = user
    return navigation.entries(request)


@pytest.mark.parametrize(
    ("roles", "labels"),
    [
        (("tester",), ["Today", "Orders"]),
        (("approver", "tester"), ["Today", "Orders"]),
        (("administrator",), ["People"]),
        (("customer",), ["Portal"]),
        (("witness",), []),
        ((), []),
    ],
)
def test_each_role_finds_its_own_rooms_and_no_others(rf, roles, labels):
    assert [entry.label for entry in rooms(rf, someone(*roles))] == labels


def test_nobody_finds_nothing(rf):
    assert rooms(rf, AnonymousUser()) == []
    assert navigation.entries(rf.get("/")) == []


def test_the_room_one_stands_in_is_current(rf):
    found = rooms(rf, someone("tester"), "/orders/24-0113/")
    assert [(entry.label, entry.url, entry.is_current) for entry in found] == [
        ("Today", "/today/", False),
        ("Orders", "/orders/", True),
    ]


def test_customers_find_no_laboratory_room_in_the_table():
    shared = [room.label for room in navigation.ROOMS if "customer" in room.roles and room.roles != {"customer"}]
    assert shared == []


def test_the_page_asks_for_roles_only_when_it_shows_rooms(rf):
    class Unasked:
        @property
        def is_authenticated(self):
            raise AssertionError("asked")

    request = rf.get("/")
    request.user = Unasked()
    given = context.page(request)
    assert set(given) == {"navigation", "request_id"}
    with pytest.raises(AssertionError, match="asked"):
        list(given["navigation"])
