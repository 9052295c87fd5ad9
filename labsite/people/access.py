"""Guards of pages and services: a stranger finds nothing, a colleague without the right is told so."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse

from labsite.people.roles import Role

View = Callable[..., HttpResponse]
ROLE_WORDS = {value: label.lower() for value, label in Role.choices}


class ServerShell:
    """Whoever sits at the server's own command line; may open the first account."""

    actor_label = "Server command line"
    is_administrator = True


def refusal(*roles: Any) -> PermissionDenied:
    """Return the refusal that names who may."""
    words = " or ".join(sorted(ROLE_WORDS[str(role)] for role in roles))
    return PermissionDenied(f"Your roles do not cover this; it needs: {words}. Nothing was changed.")


def require_role(by: Any, *roles: Any) -> None:
    """Refuse a deed to an actor who holds none of the roles or whose account is switched off."""
    if not (by.is_active and by.has_role(*roles)):
        raise refusal(*roles)


def require_administrator(by: Any) -> None:
    """Refuse a deed to everybody but an administrator and the server's own command line."""
    if not by.is_administrator:
        raise refusal(Role.ADMINISTRATOR)


def roles_required(*roles: Any) -> Callable[[View], View]:
    """Return a decorator for views: 404 to strangers (customers, witnesses), 403 to colleagues without the right."""

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            user: Any = request.user
            if user.is_authenticated and not user.has_role(*roles):
                if user.is_laboratory or user.is_administrator:
                    raise refusal(*roles)
                raise Http404
            return view(request, *args, **kwargs)

        return guarded

    return decorate
