"""Which roles may do what with orders, units, plans, authorisations and bays: the one table that guards read."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied

from labsite.people.roles import LABORATORY_ROLES, Role

RIGHTS: dict[str, frozenset[str]] = {
    "enter_order": LABORATORY_ROLES,
    "edit_order": LABORATORY_ROLES,
    "review_contract": frozenset({Role.APPROVER}),
    "enter_units": LABORATORY_ROLES,
    "edit_unit": LABORATORY_ROLES,
    "add_photo": LABORATORY_ROLES,
    "adopt_plan": LABORATORY_ROLES,
    "release_hold_point": frozenset({Role.APPROVER}),
    "grant_authorisation": frozenset({Role.QUALITY_MANAGER}),
    "end_authorisation": frozenset({Role.QUALITY_MANAGER}),
    "correct_authorisation": frozenset({Role.QUALITY_MANAGER}),
    "enter_bay": frozenset({Role.ADMINISTRATOR, Role.QUALITY_MANAGER}),
    "correct_bay": frozenset({Role.ADMINISTRATOR, Role.QUALITY_MANAGER}),
    "write_pack": LABORATORY_ROLES,
    "confirm_pack": frozenset({Role.APPROVER, Role.QUALITY_MANAGER}),
    "set_rule_policy": frozenset({Role.QUALITY_MANAGER}),
    "review_revision": frozenset({Role.APPROVER}),
}
"""Deed (the name of its service) and the roles that may do it."""

DEEDS_IN_WORDS: dict[str, str] = {
    "enter_order": "enter orders",
    "edit_order": "change orders",
    "review_contract": "review contracts",
    "enter_units": "enter units",
    "edit_unit": "change units",
    "add_photo": "add photographs",
    "adopt_plan": "adopt plans",
    "release_hold_point": "release hold points",
    "grant_authorisation": "grant authorisations",
    "end_authorisation": "end authorisations",
    "correct_authorisation": "correct authorisations",
    "enter_bay": "enter bays",
    "correct_bay": "correct bays",
    "write_pack": "write rule packs",
    "confirm_pack": "confirm rule packs",
    "set_rule_policy": "decide what unconfirmed rows block",
    "review_revision": "review revisions of plans",
}


def may(person: Any, deed: str) -> bool:
    """Say whether the person's roles allow the deed."""
    return bool(person.is_active and person.has_role(*RIGHTS[deed]))


def who_may(deed: str) -> str:
    """Return the roles that may do the deed, in words."""
    names = sorted(Role(role).label.lower() for role in RIGHTS[deed])
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def require(person: Any, deed: str) -> None:
    """Refuse, in words, a person whose roles do not allow the deed."""
    if not may(person, deed):
        raise PermissionDenied(f"Only {who_may(deed)} may {DEEDS_IN_WORDS[deed]}.")


def deeds_of(person: Any) -> frozenset[str]:
    """Return all that the person's roles allow, for pages that show a door only to whom it opens."""
    return frozenset(deed for deed in RIGHTS if may(person, deed))
