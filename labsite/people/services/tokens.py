"""Issues and revokes the tokens by which a program speaks in a person's name."""

from __future__ import annotations

import hashlib
import secrets
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone

from labsite.ledger.services import record_entry, writing
from labsite.people.access import require_administrator
from labsite.people.models import AccessToken, User


def token_digest(secret: str) -> str:
    """Return the SHA-256 under which a token is stored."""
    return hashlib.sha256(secret.encode()).hexdigest()


def issue_token(*, user: User, label: str, by: Any) -> tuple[AccessToken, str]:
    """Issue a token; the secret is returned once and never stored. For oneself, or by an administrator."""
    _require_owner(user, by)
    if not label.strip():
        raise ValidationError({"label": "Name the program that will use the token."})
    secret = f"withstand_{secrets.token_urlsafe(32)}"
    with writing():
        token = AccessToken.objects.create(user=user, label=label.strip(), digest=token_digest(secret))
        changes = {"label": [None, token.label], "user": [None, user.email]}
        record_entry(action="people.issue_token", subject=token, changes=changes, by=by)
    return token, secret


def revoke_token(*, token: AccessToken, by: Any) -> AccessToken:
    """Revoke a token for good; a second time changes nothing."""
    _require_owner(token.user, by)
    with writing():
        row = AccessToken.objects.select_for_update().select_related("user").get(pk=token.pk)
        if row.revoked_at is None:
            row.revoked_at = timezone.now()
            row.save(update_fields=["revoked_at"])
            changes = {"revoked_at": [None, row.revoked_at]}
            record_entry(action="people.revoke_token", subject=row, changes=changes, by=by)
    return row


def _require_owner(user: User, by: Any) -> None:
    if user != by:
        require_administrator(by)
