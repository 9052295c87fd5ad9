"""Whose pages these are: laboratory people's; customers and witnesses find nothing here."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from labsite.people.access import roles_required
from labsite.people.roles import LABORATORY_ROLES, Role

laboratory_only = roles_required(*LABORATORY_ROLES)
laboratory_or_administrator = roles_required(*LABORATORY_ROLES, Role.ADMINISTRATOR)


def sent(request: HttpRequest) -> Any:
    """Return what a form sent, None where the page is only opened; an empty form counts as sent."""
    return request.POST if request.method == "POST" else None
