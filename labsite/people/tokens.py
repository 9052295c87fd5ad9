"""Lets a program in by its token: `Authorization: Token …`."""

from __future__ import annotations

from django.http import HttpRequest
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed

from labsite.people.models import AccessToken, User
from labsite.people.services.tokens import token_digest


class TokenAuthentication(BaseAuthentication):
    """Finds a token by its SHA-256; a revoked one and one of a switched-off account are refused."""

    def authenticate(self, request: HttpRequest) -> tuple[User, AccessToken] | None:
        """Return user and token, or None where the request carries no token."""
        parts = get_authorization_header(request).split()
        if not parts or parts[0].lower() != b"token":
            return None
        if len(parts) != 2:
            raise AuthenticationFailed("The header is not of the form “Authorization: Token …”.")
        digest = token_digest(parts[1].decode("latin-1"))
        token = AccessToken.objects.filter(digest=digest, revoked_at=None, user__is_active=True)
        found = token.select_related("user__organisation").prefetch_related("user__grants").first()
        if found is None:
            raise AuthenticationFailed("This token is not known, was revoked, or its account is switched off.")
        return found.user, found

    def authenticate_header(self, request: HttpRequest) -> str:
        """Return what a refused request is told to send."""
        return "Token"
