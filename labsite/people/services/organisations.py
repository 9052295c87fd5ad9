"""Enters organisations."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError

from labsite.ledger.services import change_fields, create_with_entry, writing
from labsite.people.access import require_administrator
from labsite.people.models import Organisation


def create_organisation(*, name: str, address: str = "", is_laboratory: bool = False, by: Any) -> Organisation:
    """Enter a company. Refuses a name that is taken, whatever its case."""
    require_administrator(by)
    with writing():
        _refuse_taken(name)
        organisation = Organisation(name=name.strip(), address=address.strip(), is_laboratory=is_laboratory)
        return create_with_entry(instance=organisation, action="people.create_organisation", by=by)


def edit_organisation(*, organisation: Organisation, version: int, name: str, address: str, by: Any) -> Organisation:
    """Correct name or address. Refuses a taken name, and an edit that did not see the latest version."""
    require_administrator(by)
    with writing():
        _refuse_taken(name, but=organisation)
        changes = {"name": name.strip(), "address": address.strip()}
        action = "people.edit_organisation"
        return change_fields(instance=organisation, version=version, changes=changes, action=action, by=by)


def _refuse_taken(name: str, but: Organisation | None = None) -> None:
    if not name.strip():
        raise ValidationError({"name": "An organisation needs a name."})
    taken = Organisation.objects.filter(name__iexact=name.strip()).exclude(pk=but.pk if but else None)
    if taken.exists():
        raise ValidationError({"name": f"There is already an organisation called {name.strip()}."})
