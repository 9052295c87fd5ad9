"""How accounts behave: nobody signs himself up, and a sign-in is told to the ledger."""

from __future__ import annotations

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest
from django.urls import reverse

from labsite.ledger.services import record_entry, writing
from labsite.people.models import User


class AccountAdapter(DefaultAccountAdapter):
    """The laboratory's own account rules over allauth's."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Return False: the administrator opens accounts."""
        return False

    def get_login_redirect_url(self, request: HttpRequest) -> str:
        """Return the page that sends each person to the first page of their roles."""
        return reverse("home")

    def login(self, request: HttpRequest, user: User) -> None:
        """Sign in, and record who did."""
        super().login(request, user)
        with writing():
            record_entry(action="people.sign_in", subject=user, by=user)

    def set_password(self, user: User, password: str) -> None:
        """Set a new password, and record that it was set (never what it is)."""
        with writing():
            super().set_password(user, password)
            record_entry(action="people.set_password", subject=user, by=user)
