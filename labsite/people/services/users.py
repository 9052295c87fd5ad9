"""Opens accounts, gives and takes roles, switches accounts off and on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from labsite.ledger.services import StaleEdit, record_entry, writing
from labsite.people.access import require_administrator
from labsite.people.models import Organisation, RoleGrant, User
from labsite.people.roles import Role

OUTSIDE_ROLES = frozenset({str(Role.CUSTOMER), str(Role.WITNESS)})
INSIDE_ROLES = frozenset(Role.values) - OUTSIDE_ROLES


def create_user(
    *, email: str, name: str, organisation: Organisation, roles: Iterable[str], password: str | None = None, by: Any
) -> User:
    """Open an account with its roles. Without a password the person sets one by the reset link.

    Refuses a taken address, roles that do not fit the organisation, and a weak password.
    """
    require_administrator(by)
    wanted = _checked_roles(roles, organisation)
    address = email.strip().lower()
    if password is not None:
        validate_password(password, User(email=address, name=name))
    with writing():
        if User.objects.filter(email__iexact=address).exists():
            raise ValidationError({"email": f"{address} has an account already."})
        user = User.objects.create_user(address, password, name=name.strip(), organisation=organisation)
        RoleGrant.objects.bulk_create(RoleGrant(user=user, role=role) for role in sorted(wanted))
        changes = {"email": [None, address], "name": [None, user.name], "organisation": [None, organisation.name]}
        changes["roles"] = [None, sorted(wanted)]
        record_entry(action="people.create_user", subject=user, changes=changes, by=by)
    return user


def set_roles(*, user: User, roles: Iterable[str], seen: Iterable[str] | None = None, by: Any) -> User:
    """Give a person exactly these roles; `seen` is what the editor saw before.

    Refuses roles that do not fit the organisation, an edit that did not see the latest roles, and the last
    administrator's leaving.
    """
    require_administrator(by)
    wanted = _checked_roles(roles, user.organisation)
    with writing():
        held = set(RoleGrant.objects.filter(user=user).values_list("role", flat=True))
        if seen is not None and set(seen) != held:
            raise StaleEdit({"roles": sorted(held)}, {"roles": sorted(wanted)}, {"roles": "Roles"})
        if wanted == held:
            return user
        if Role.ADMINISTRATOR in held - wanted:
            _refuse_last_administrator(user)
        RoleGrant.objects.filter(user=user, role__in=held - wanted).delete()
        RoleGrant.objects.bulk_create(RoleGrant(user=user, role=role) for role in sorted(wanted - held))
        changes = {"roles": [sorted(held), sorted(wanted)]}
        record_entry(action="people.set_roles", subject=user, changes=changes, by=by)
    return User.objects.for_list().get(pk=user.pk)


def switch_off_user(*, user: User, reason: str, by: Any) -> User:
    """Switch an account off, from its next request on. Refuses without a reason, and the last administrator."""
    require_administrator(by)
    if user == by:
        raise ValidationError("You cannot switch your own account off; another administrator can.")
    with writing():
        if user.is_administrator:
            _refuse_last_administrator(user)
        return _switch(user, False, "people.switch_off_user", reason, by)


def switch_on_user(*, user: User, reason: str, by: Any) -> User:
    """Switch an account on again. Refuses without a reason."""
    require_administrator(by)
    with writing():
        return _switch(user, True, "people.switch_on_user", reason, by)


def _switch(user: User, is_active: bool, action: str, reason: str, by: Any) -> User:
    if not reason.strip():
        raise ValidationError({"reason": "Say why; the reason stays in the history."})
    row = User.objects.select_for_update().get(pk=user.pk)
    if row.is_active == is_active:
        return row
    row.is_active = is_active
    row.save(update_fields=["is_active"])
    changes = {"is_active": [not is_active, is_active]}
    record_entry(action=action, subject=row, changes=changes, reason=reason.strip(), by=by)
    return row


def _checked_roles(roles: Iterable[str], organisation: Organisation) -> set[str]:
    wanted = {str(role) for role in roles}
    if unknown := wanted - set(Role.values):
        raise ValidationError({"roles": f"There is no role {', '.join(sorted(unknown))}."})
    if not wanted:
        raise ValidationError({"roles": "Choose at least one role; to shut a person out, switch the account off."})
    if organisation.is_laboratory and wanted & OUTSIDE_ROLES:
        raise ValidationError({"roles": "Customers and witnesses belong to another organisation than the laboratory."})
    if not organisation.is_laboratory and wanted & INSIDE_ROLES:
        raise ValidationError(
            {"roles": f"{organisation.name} is not the laboratory; its people are customers or witnesses."}
        )
    return wanted


def _refuse_last_administrator(user: User) -> None:
    if not User.objects.holding(Role.ADMINISTRATOR).exclude(pk=user.pk).exists():
        raise ValidationError("This is the last administrator. Make somebody else administrator first.")
