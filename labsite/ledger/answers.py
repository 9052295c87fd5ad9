"""The answers of the once-middleware: kept, repeated, refused as stale, or unavailable."""

from __future__ import annotations

import logging
import time
from typing import Any

from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils.http import url_has_allowed_host_and_scheme

from labsite.ledger import canonical
from labsite.ledger.errors import StaleEdit
from labsite.ledger.models import Submission
from labsite.ledger.request_state import Once

log = logging.getLogger(__name__)
WAIT_S = 5.0
POLL_S = 0.05
LARGEST_BODY = 256 * 1024
_KEPT_HEADERS = ("HX-Redirect", "HX-Location", "HX-Trigger", "HX-Refresh", "HX-Retarget", "HX-Reswap", "ETag")
_NOT_SAVED = (
    "The database cannot be reached just now. Nothing was saved. Keep this page open and send it again shortly."
)
_OTHER_VALUES = "This was already sent with other values, and those were stored. Open the record to change it."
_STILL_BUSY = "This was already sent and is still being worked on. Nothing was done twice; look again shortly."


def wants_json(request: HttpRequest) -> bool:
    """Say whether a program asks, not a browser."""
    accept = request.headers.get("Accept", "")
    return request.content_type == "application/json" or ("json" in accept and "html" not in accept)


def earlier_answer(request: HttpRequest, once: Once) -> HttpResponse | None:
    """Return the answer of an earlier request under this key, or None when this is the first."""
    return repeated(request, once) if Submission.objects.filter(key=once.key).exists() else None


def repeated(request: HttpRequest, once: Once) -> HttpResponse:
    """Return the first request's answer; wait for it a little when it is still being made."""
    until = time.monotonic() + WAIT_S
    submission = Submission.objects.filter(key=once.key).first()
    while submission is not None and submission.status is None and time.monotonic() < until:
        time.sleep(POLL_S)
        submission = Submission.objects.filter(key=once.key).first()
    if submission is not None and submission.fingerprint != once.fingerprint:
        return _refusal(request, _OTHER_VALUES)
    if submission is None or submission.status is None:
        return _refusal(request, _STILL_BUSY) if wants_json(request) else _redirect(request.path, 303)
    return _replay(submission)


def _redirect(location: str, status: int) -> HttpResponse:
    return HttpResponse(status=status, headers={"Location": location})


def _replay(submission: Submission) -> HttpResponse:
    status = submission.status or 303
    if submission.body is None and not submission.location:
        return HttpResponse(status=status) if status == 204 else _redirect(submission.path, 303)
    body = submission.body or {"text": "", "type": "text/html; charset=utf-8", "headers": {}}
    response = HttpResponse(body["text"], status=status, content_type=body["type"], headers=body["headers"])
    if submission.location:
        response["Location"] = submission.location
    return response


def keep_answer(request: HttpRequest, once: Once, response: HttpResponse) -> None:
    """Keep a success for repetitions; free the key after a refusal; leave it used after a fault."""
    row = Submission.objects.filter(key=once.key)
    try:
        if response.status_code < 400:
            row.update(
                status=response.status_code, location=response.get("Location", ""), body=_body(request, response)
            )
        elif response.status_code < 500:
            row.delete()
    except DatabaseError:
        log.exception("The answer under a once-key could not be kept; a repetition will be sent to the page instead.")


def _body(request: HttpRequest, response: HttpResponse) -> dict[str, Any] | None:
    """Return what a program or a fragment needs again; whole pages are not kept, they may show something only once."""
    kind = response.get("Content-Type", "")
    headers = {name: response[name] for name in _KEPT_HEADERS if name in response}
    is_fragment = request.headers.get("HX-Request") == "true"
    if response.streaming or not (kind.startswith("application/json") or is_fragment or headers):
        return None
    if len(response.content) > LARGEST_BODY:
        return None
    return {"text": response.content.decode("utf-8", "replace"), "type": kind, "headers": headers}


def stale(request: HttpRequest, error: StaleEdit) -> HttpResponse:
    """Return 409 with the present values beside the sender's."""
    if wants_json(request):
        conflicts = [vars(conflict) for conflict in error.conflicts]
        return JsonResponse({"detail": str(error), "conflicts": canonical.plain(conflicts)}, status=409)
    differing = {conflict.field for conflict in error.conflicts}
    fields = [
        {"label": error.labels.get(name, name), "theirs": error.current.get(name), "mine": mine}
        | {"is_different": name in differing}
        for name, mine in error.yours.items()
    ]
    context = {"subject": error.subject, "by": error.by, "at": error.at, "fields": fields, "back_url": _back(request)}
    return render(request, "409.html", context, status=409)


def _back(request: HttpRequest) -> str:
    """Return the page the form came from, when it is one of ours."""
    referer = request.headers.get("Referer", "")
    is_ours = url_has_allowed_host_and_scheme(referer, {request.get_host()})
    return referer if is_ours and referer else request.path


def _refusal(request: HttpRequest, reason: str) -> HttpResponse:
    if wants_json(request):
        return JsonResponse({"detail": reason}, status=409)
    return render(request, "ledger/refused.html", {"reason": reason, "back_url": _back(request)}, status=409)


def unavailable(request: HttpRequest) -> HttpResponse:
    """Return 503; drawn without the request, since whatever asks the database would fail again."""
    if wants_json(request):
        response: HttpResponse = JsonResponse({"detail": _NOT_SAVED}, status=503)
    else:
        response = HttpResponse(render_to_string("503.html", {"words": _NOT_SAVED}), status=503)
    response["Retry-After"] = "5"
    return response
