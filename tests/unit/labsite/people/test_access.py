"""Guards without a database: who passes, who is refused, in which words."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse

from labsite.people.access import ServerShell, refusal, require_administrator, require_role, roles_required
from labsite.people.roles import LABORATORY_ROLES, Role


@dataclass
class Person:
    """Stands for a user."""

    roles: frozenset[str] = frozenset()
    is_active: bool = True
    is_authenticated: bool = True

    def has_role(self, *roles: str) -> bool:
        return not self.roles.isdisjoint(roles)

    @property
    def is_laboratory(self) -> bool:
        return self.is_active and self.has_role(*LABORATORY_ROLES)

    @property
    def is_administrator(self) -> bool:
        return self.is_active and self.has_role("administrator")


def person(*roles: str, **values) -> Person:
    return Person(frozenset(roles), **values)


def answer(user: Person) -> bytes:
    @roles_required(Role.QUALITY_MANAGER)
    def view(request) -> HttpResponse:
        return HttpResponse("inside")

    return view(type("Request", (), {"user": user})()).content


def test_a_role_opens_the_door():
    assert answer(person("quality_manager", "tester")) == b"inside"


@pytest.mark.parametrize("role", ["tester", "approver", "administrator"])
def test_a_colleague_is_told_which_role_it_needs(role):
    with pytest.raises(PermissionDenied, match="it needs: quality manager"):
        answer(person(role))


@pytest.mark.parametrize("roles", [("customer",), ("witness",), ()])
def test_a_stranger_finds_nothing(roles):
    with pytest.raises(Http404):
        answer(person(*roles))


def test_a_switched_off_actor_may_do_nothing():
    with pytest.raises(PermissionDenied):
        require_role(person("tester", is_active=False), "tester")
    with pytest.raises(PermissionDenied):
        require_administrator(person("administrator", is_active=False))


def test_the_servers_command_line_counts_as_administrator_and_nothing_else():
    assert require_administrator(ServerShell()) is None
    assert not hasattr(ServerShell(), "has_role")


def test_a_refusal_lists_the_roles_in_words():
    words = str(refusal(Role.TESTER, Role.QUALITY_MANAGER))
    assert words == "Your roles do not cover this; it needs: quality manager or tester. Nothing was changed."
