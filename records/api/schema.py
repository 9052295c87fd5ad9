"""Tells the API's description how a token is sent."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension


class TokenScheme(OpenApiAuthenticationExtension):
    """`Authorization: Token …`."""

    target_class = "labsite.people.tokens.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        """Return the header that carries the token."""
        return {"type": "apiKey", "in": "header", "name": "Authorization", "description": "Token, a blank, the token."}
