"""One spelling for every value, so that a digest can be taken again years later."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from enum import Enum
from typing import Any

import rfc8785
from django.core.files import File
from django.db.models import Model

EXACT_INTEGER = 2**53 - 1  # beyond it JSON numbers are doubles


class NotForTheLedger(ValueError):
    """A value that has no one spelling (NaN, infinity, a time without a zone, an unknown type)."""


def instant(at: datetime) -> str:
    """Return an aware time as UTC with microseconds and Z."""
    if at.tzinfo is None:
        raise NotForTheLedger(f"The time {at.isoformat()} has no zone.")
    return at.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def text(value: str) -> str:
    """Return text every database keeps: no NUL, no half surrogates."""
    return value.encode("utf-8", "replace").decode("utf-8").replace("\x00", "\N{REPLACEMENT CHARACTER}")


def plain(value: Any) -> Any:
    """Return the value as JSON of one spelling: decimals and dates as text, floats as they are, NaN refused."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, Enum):
        return plain(value.value)
    if isinstance(value, str):
        return text(value)
    if isinstance(value, int):
        return value if abs(value) <= EXACT_INTEGER else str(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise NotForTheLedger(f"The number {value} cannot be written down.")
        return float(value)
    if isinstance(value, Mapping):
        return {text(str(key)): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, (set, frozenset)):
        return sorted((plain(item) for item in value), key=str)
    return _spelled(value)


def _spelled(value: Any) -> str:
    if isinstance(value, datetime):
        return instant(value)
    if isinstance(value, (date, time)):
        return value.isoformat()
    if isinstance(value, Decimal):
        if not value.is_finite():
            raise NotForTheLedger(f"The number {value} cannot be written down.")
        return str(value)
    if isinstance(value, timedelta):
        return f"{value.total_seconds()} s"
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, Model):
        return text(f"{value} (#{value.pk})")
    if type(value).__name__ in {"UUID", "__proxy__"} or isinstance(value, File):
        return text(str(value))
    raise NotForTheLedger(f"A {type(value).__name__} has no spelling in the ledger.")


def _doubles(value: Any) -> Any:
    """Read whole numbers beyond 2^53 as the doubles they were (a database may return 1e22 as an integer)."""
    if isinstance(value, int) and not isinstance(value, bool):
        return value if abs(value) <= EXACT_INTEGER else float(value)
    if isinstance(value, dict):
        return {key: _doubles(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_doubles(item) for item in value]
    return value


def canonical_bytes(fields: Mapping[str, Any]) -> bytes:
    """Return the RFC 8785 bytes of JSON fields."""
    return rfc8785.dumps(_doubles(dict(fields)))
