"""Around every request: an incident number, no writing on a reading request, nothing private left in caches."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from contextvars import ContextVar
from typing import Any

from django.conf import settings
from django.core.exceptions import BadRequest
from django.db import connections
from django.http import HttpRequest, HttpResponse

Answer = Callable[[HttpRequest], HttpResponse]

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
PERMISSIONS_POLICY = "camera=(), geolocation=(), microphone=(), payment=(), usb=(), browsing-topics=()"

_request_id: ContextVar[str] = ContextVar("request_id", default="")
_GIVEN_ID = re.compile(r"[A-Za-z0-9-]{8,64}")
_FIRST_WORD = re.compile(r"\A(?:\s|/\*.*?\*/|--[^\n]*\n|\()*([a-z]+)", re.IGNORECASE | re.DOTALL)
_WRITES = re.compile(
    r"(?<!\bfor )\b(?:insert(?:\s+or\s+\w+)?\s+into|replace\s+into|update(?:\s+or\s+\w+)?|delete\s+from|merge\s+into"
    r"|truncate)"
    r"\s+(?:only\s+|table\s+)?(?:[\"`\[]?\w+[\"`\]]?\s*\.\s*)?[\"`\[]?(\w+)",
    re.IGNORECASE,
)
_TEXTS = re.compile(r"'(?:[^']|'')*'")
_READING_WORDS = frozenset(
    {"select", "with", "values", "explain", "pragma", "show", "set", "fetch", "declare", "close"}
)
_TRANSACTION_WORDS = frozenset({"savepoint", "release", "rollback", "begin", "commit"})
_NO_RECORDS = ("django_session", "account_", "mfa_", "usersessions_", "axes_")


class WriteOnRead(RuntimeError):
    """A page that only reads has tried to write technical data."""


def current_request_id() -> str:
    """Return the incident number of the request in hand, empty outside one."""
    return _request_id.get()


class RequestId:
    """Gives each request a number that the page, the log and the answer's head share."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-Id", "")
        number = given if _GIVEN_ID.fullmatch(given) else secrets.token_hex(6)
        request.request_id = number
        token = _request_id.set(number)
        try:
            response = self.get_response(request)
        finally:
            _request_id.reset(token)
        response["X-Request-Id"] = number
        return response


class RefuseNul:
    """Refuses an address with a NUL character, which no text field can hold and PostgreSQL will not search for."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "%00" in request.META.get("QUERY_STRING", "") or "\x00" in request.path:
            raise BadRequest("The address holds a NUL character.")
        return self.get_response(request)


class ReadOnlyGet:
    """Refuses every write to technical data while a GET, HEAD or OPTIONS is answered."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.method not in SAFE_METHODS:
            return self.get_response(request)
        with reading_only():
            return self.get_response(request)


@contextmanager
def reading_only() -> Iterator[None]:
    """Let the database be read only, but for sessions, sign-in and the shared cache."""
    with ExitStack() as stack:
        for connection in connections.all():
            stack.enter_context(connection.execute_wrapper(_refuse_writes))
        yield


def _refuse_writes(execute: Callable[..., Any], sql: Any, params: Any, many: bool, context: dict[str, Any]) -> Any:
    for table in written_tables(str(sql)):
        if not _may_be_written_while_reading(table):
            raise WriteOnRead(f"A reading request tried to write to {table}; nothing was written.")
    return execute(sql, params, many, context)


def written_tables(sql: str) -> list[str]:
    """Return the tables that a statement writes to; a statement of unknown kind counts as writing to itself."""
    text = _TEXTS.sub("''", sql)
    first = _FIRST_WORD.match(text)
    word = first.group(1).lower() if first else ""
    return _WRITES.findall(text) or ([] if word in _READING_WORDS | _TRANSACTION_WORDS else [word])


def _may_be_written_while_reading(table: str) -> bool:
    cache_tables = {cache.get("LOCATION") for cache in settings.CACHES.values()}
    return table in cache_tables or table.startswith(_NO_RECORDS)


class CacheHeaders:
    """Keeps pages out of caches unless a view says otherwise, and switches off what no page needs."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", PERMISSIONS_POLICY)
        response.headers.setdefault("Cache-Control", "no-store")
        return response
