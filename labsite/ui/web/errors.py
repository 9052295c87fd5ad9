"""Errors as pages in words: what happened, that nothing was lost, what to do."""

from __future__ import annotations

import logging
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string

from labsite.ui.middleware import current_request_id

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class BothValues:
    """One field of a stale form: what is saved and what was typed, each as a person reads it."""

    label: str
    theirs: str
    mine: str

    @property
    def is_different(self) -> bool:
        """Tell whether the two would not be shown alike."""
        return self.theirs != self.mine


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer what cannot be read; a body over the limit is said to be one."""
    if isinstance(exception, RequestDataTooBig):
        return too_large(request)
    return _without_person(400)


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Answer a colleague without the right; a service's reason is shown."""
    return render(request, "403.html", {"words": str(exception) if exception else ""}, status=403)


def form_not_trusted(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Answer a form without its secret."""
    log.warning("A form was not trusted (%s): %s", current_request_id(), reason)
    return _without_person(403, "403_csrf.html")


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Answer an address that is nothing, or nothing for this person; the two look alike."""
    return render(request, "404.html", status=404)


def conflict(
    request: HttpRequest,
    *,
    subject: str,
    fields: Sequence[BothValues],
    back_url: str,
    by: str = "",
    at: datetime | None = None,
    retry_url: str = "",
    retry_fields: Iterable[tuple[str, Any]] = (),
) -> HttpResponse:
    """Answer a stale form with both values; `retry_fields` is the form again with the version that is saved now."""
    context = {
        "subject": subject,
        "fields": fields,
        "back_url": back_url,
        "by": by,
        "at": at,
        "retry_url": retry_url or request.path,
        "retry_fields": list(retry_fields),
    }
    return render(request, "409.html", context, status=409)


def too_large(request: HttpRequest, words: str = "") -> HttpResponse:
    """Answer an upload over the limit."""
    context = {"words": words, "limit_mb": settings.UPLOAD_LIMIT_BYTES // 2**20}
    return render(request, "413.html", context, status=413)


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer an error of ours, or a database that is away; asks neither the database nor the session."""
    if isinstance(sys.exc_info()[1], (OperationalError, InterfaceError)):
        return unavailable(request)
    return _without_person(500)


def unavailable(request: HttpRequest, words: str = "") -> HttpResponse:
    """Answer while something that every page needs is away."""
    response = _without_person(503, words=words)
    response["Retry-After"] = "30"
    return response


def _without_person(status: int, template: str = "", words: str = "") -> HttpResponse:
    context = {"request_id": current_request_id(), "words": words}
    return HttpResponse(render_to_string(template or f"{status}.html", context), status=status)
