"""Finds a request's once-key: the hidden field `_once`, `?_once=` for uploads, or the header Idempotency-Key."""

from __future__ import annotations

import hashlib
import json

from django.http import HttpRequest

from labsite.ledger.request_state import Once

_UNSAFE = {"POST", "PUT", "PATCH", "DELETE"}
_NOT_CONTENT = {"csrfmiddlewaretoken", "_once"}
_FORM = "application/x-www-form-urlencoded"
_JSON = "application/json"


def _given_key(request: HttpRequest) -> str:
    """Return the key as sent. The body is read only for plain forms, never for an upload."""
    named = request.headers.get("Idempotency-Key", "") or request.GET.get("_once", "")
    if not named and request.method == "POST" and request.content_type == _FORM:
        named = request.POST.get("_once", "")
    return named[:200]


def _sender(request: HttpRequest) -> tuple[str, str | None]:
    """Return the scope of a key: the account, else the credentials of a program, else the session, else the address."""
    user = getattr(request, "user", None)
    if user is not None and user.is_authenticated:
        return f"user {user.pk}", str(user.pk)
    if authorization := request.headers.get("Authorization", ""):
        return f"program {authorization}", None
    session = getattr(getattr(request, "session", None), "session_key", None)
    return (f"session {session}" if session else f"address {request.META.get('REMOTE_ADDR', '')}"), None


def _fingerprint(request: HttpRequest) -> str:
    """Return a digest of what was sent, or nothing for an upload."""
    if request.content_type == _FORM and request.method == "POST":
        sent = sorted((key, values) for key, values in request.POST.lists() if key not in _NOT_CONTENT)
        return hashlib.sha256(json.dumps(sent).encode()).hexdigest()
    if request.content_type == _JSON:
        return hashlib.sha256(request.body).hexdigest()
    return ""


def once_of(request: HttpRequest) -> Once | None:
    """Return the once-key of an unsafe request, scoped to its sender and path; None when it has none."""
    sender, actor_id = _sender(request)
    if request.method not in _UNSAFE:
        return None
    given = _given_key(request)
    if not given:
        return None
    scope = "\x00".join([sender, str(request.method), request.path, given])
    key = hashlib.sha256(scope.encode("utf-8", "replace")).hexdigest()
    return Once(key=key, path=request.path[:500], actor_id=actor_id, fingerprint=_fingerprint(request))
