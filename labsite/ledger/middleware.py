"""Each deed once: a repeated request gets the first answer; stale edits and a lost database are told in words."""

from __future__ import annotations

import logging
from collections.abc import Callable

from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse

from labsite.ledger import answers, request_state
from labsite.ledger.errors import AlreadySubmitted, StaleEdit
from labsite.ledger.once_key import once_of

log = logging.getLogger(__name__)
_DATABASE_GONE = (OperationalError, InterfaceError)


class OnceMiddleware:
    """Put the request's once-key and id where `writing()` finds them, and keep the answer for a repetition."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        try:
            once = once_of(request)
            earlier = answers.earlier_answer(request, once) if once else None
        except _DATABASE_GONE:
            log.exception("The database could not be reached.")
            return answers.unavailable(request)
        if earlier is not None:
            return earlier
        return self._answer(request, once)

    def _answer(self, request: HttpRequest, once: request_state.Once | None) -> HttpResponse:
        identity = str(getattr(request, "request_id", "") or request.headers.get("X-Request-ID", ""))
        tokens = request_state.once.set(once), request_state.request_id.set(identity)
        try:
            response = self.get_response(request)
        finally:
            request_state.once.reset(tokens[0])
            request_state.request_id.reset(tokens[1])
        if once is not None and once.is_used:
            answers.keep_answer(request, once, response)
        return response

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Answer the three exceptions that any view may raise; everything else goes on."""
        if isinstance(exception, StaleEdit):
            return answers.stale(request, exception)
        try:
            once = request_state.once.get()
            if isinstance(exception, AlreadySubmitted) and once is not None:
                return answers.repeated(request, once)
        except _DATABASE_GONE as gone:
            exception = gone
        if isinstance(exception, _DATABASE_GONE):
            log.error("The database could not be reached.", exc_info=exception)
            return answers.unavailable(request)
        return None
