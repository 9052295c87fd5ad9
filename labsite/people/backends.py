"""Who may sign in: active accounts, asked again at every request."""

from __future__ import annotations

from allauth.account.auth_backends import AuthenticationBackend

from labsite.people.models import User


class ActiveAccounts(AuthenticationBackend):
    """Signs in by e-mail address and password; an account that was switched off is refused from its next request on."""

    def get_user(self, user_id: int) -> User | None:
        """Return the account of a session with its roles, or None where it is gone or switched off."""
        return User.objects.for_list().filter(pk=user_id, is_active=True).first()
