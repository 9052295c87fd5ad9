"""The invented people of the tests: one of each role, and the strangers."""

from __future__ import annotations

from labsite.people.models import Organisation, RoleGrant, User

PASSWORD = "invented-passphrase-for-tests"


def organisation(name: str, *, is_laboratory: bool = False) -> Organisation:
    """Return the organisation of this name."""
    return Organisation.objects.get_or_create(name=name, defaults={"is_laboratory": is_laboratory})[0]


def person(email: str, name: str, company: Organisation, *roles: str) -> User:
    """Return a user with the roles, who signs in with `PASSWORD`."""
    user = User.objects.create_user(email, PASSWORD, name=name, organisation=company)
    RoleGrant.objects.bulk_create(RoleGrant(user=user, role=role) for role in roles)
    return user
