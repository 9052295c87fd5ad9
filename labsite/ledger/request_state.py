"""What the middleware knows of the request at hand and the services need: its once-key and its id."""

from __future__ import annotations

from contextvars import ContextVar
from dataclasses import dataclass


@dataclass
class Once:
    """A once-key of the request at hand; `is_used` when its submission was written."""

    key: str
    path: str
    actor_id: str | None
    fingerprint: str = ""
    is_used: bool = False


once: ContextVar[Once | None] = ContextVar("ledger_once", default=None)
request_id: ContextVar[str] = ContextVar("ledger_request_id", default="")
