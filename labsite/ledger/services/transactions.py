"""One transaction and one writer at a time, on both databases."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from django.db import connection, transaction

from labsite.ledger import request_state
from labsite.ledger.errors import AlreadySubmitted
from labsite.ledger.models import Submission

_WRITERS_LOCK = 0x57697468  # one number for all writers of this site
_is_writing: ContextVar[bool] = ContextVar("ledger_is_writing", default=False)


def is_writing() -> bool:
    """Say whether a `writing()` is open here."""
    return _is_writing.get()


@contextmanager
def writing() -> Iterator[None]:
    """Open the transaction of a deed; what is inside is kept together or not at all.

    One writer at a time: SQLite begins IMMEDIATE, PostgreSQL takes an advisory lock until commit. Keep it short: no
    parsing, no drawing inside. Inside another `writing()` it is a savepoint. The outermost one uses up the request's
    once-key; a key that was used before raises `AlreadySubmitted`.
    """
    if _is_writing.get():
        with transaction.atomic():
            yield
        return
    token = _is_writing.set(True)
    once = request_state.once.get()
    was_used = once is not None and once.is_used
    try:
        with transaction.atomic():
            _wait_for_turn()
            if once is not None:
                _use(once)
            yield
    except BaseException:
        if once is not None:
            once.is_used = was_used
        raise
    finally:
        _is_writing.reset(token)


def _wait_for_turn() -> None:
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_WRITERS_LOCK])


def _use(once: request_state.Once) -> None:
    if once.is_used:
        return
    if Submission.objects.filter(key=once.key).exists():
        raise AlreadySubmitted(once.key)
    Submission.objects.create(key=once.key, path=once.path, actor_id=once.actor_id, fingerprint=once.fingerprint)
    once.is_used = True
