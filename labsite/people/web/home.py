"""The front door: sends each person to the first page of their roles."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from labsite.people.access import refusal
from labsite.people.roles import Role

# In this order: whoever holds several roles begins with the work at hand.
FIRST_PAGES = {
    Role.TESTER: "records:today",
    Role.APPROVER: "records:today",
    Role.QUALITY_MANAGER: "equipment:instruments",
    Role.ADMINISTRATOR: "people:people",
    Role.CUSTOMER: "portal:home",
    Role.WITNESS: "portal:home",
}


def home(request: HttpRequest) -> HttpResponse:
    """Redirect to the first page of the person's roles; somebody without any is told who can help."""
    for role, url_name in FIRST_PAGES.items():
        if request.user.has_role(role):
            return redirect(url_name)
    raise refusal(*FIRST_PAGES)
