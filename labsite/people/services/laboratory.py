"""Edits what certificates and numbers say of the laboratory itself."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError

from labsite.ledger.services import change_fields, writing
from labsite.people.access import require_administrator
from labsite.people.models import Laboratory
from labsite.people.selectors import get_laboratory
from labsite.people.services.numbering import SERIES, check_pattern

EDITABLE = frozenset({"name", "address", "logo", *(f"{series}_pattern" for series in SERIES)})


def edit_laboratory(*, version: int, changes: dict[str, Any], by: Any) -> Laboratory:
    """Edit name, address, logo or patterns. Refuses a pattern that cannot be filled in, and a stale version."""
    require_administrator(by)
    if unknown := set(changes) - EDITABLE:
        raise ValueError(f"The laboratory has no {', '.join(sorted(unknown))}.")
    if not str(changes.get("name", "-")).strip():
        raise ValidationError({"name": "The laboratory needs a name; certificates print it."})
    for series in SERIES:
        if f"{series}_pattern" in changes:
            check_pattern(changes[f"{series}_pattern"])
    with writing():
        laboratory = get_laboratory()
        if not Laboratory.objects.filter(pk=1).exists():
            laboratory.save(force_insert=True)
        action = "people.edit_laboratory"
        return change_fields(instance=laboratory, version=version, changes=changes, action=action, by=by)
