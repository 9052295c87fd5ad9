"""The calendar of due dates behind a secret address: renewed by its owner, read by a calendar program."""

from __future__ import annotations

import hashlib
import secrets
from datetime import date, timedelta
from typing import Any

from django.utils import timezone

from equipment.models import CalendarFeed
from equipment.selectors.board import BoardRow, instrument_board
from equipment.services.rights import require_right
from labsite.ledger.services import record_entry, writing

_ICS = "\r\n"


def renew_calendar(*, by: Any) -> str:
    """Return a new secret for the caller's calendar; the old address ends at once. It is shown once and not stored."""
    require_right("set_reminders", by)
    secret = secrets.token_urlsafe(32)
    with writing():
        values = {"token_digest": _digest(secret), "renewed_at": timezone.now()}
        row, _ = CalendarFeed.objects.update_or_create(user=by, defaults=values)
        told = {"renewed_at": [None, row.renewed_at]}
        record_entry(action="equipment.renew_calendar", subject=row, changes=told, by=by)
    return secret


def end_calendar(*, by: Any) -> None:
    """End the caller's calendar address; there may be none."""
    with writing():
        row = CalendarFeed.objects.filter(user=by).first()
        if row is not None:
            record_entry(action="equipment.end_calendar", subject=row, changes={"address": ["open", None]}, by=by)
            row.delete()


def calendar_of(secret: str, on: date) -> str | None:
    """Return the calendar that an address gives, or None where the secret is not known or its owner may not see it."""
    feed = (
        CalendarFeed.objects.filter(token_digest=_digest(secret), user__is_active=True).select_related("user").first()
    )
    if feed is None or not feed.user.is_laboratory:
        return None
    rows = [row for row in instrument_board(feed.user, on).rows if row.status.due_on and row.board != "out_of_service"]
    return ics(rows, on)


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


def ics(rows: list[BoardRow], on: date) -> str:
    """Return due dates as an iCalendar object (RFC 5545): whole days, one event an instrument, lines folded."""
    stamp = f"{on:%Y%m%d}T000000Z"
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Withstand//Calibrations//EN", "X-WR-CALNAME:Calibrations due"]
    for row in rows:
        lines += _event(row, stamp)
    lines.append("END:VCALENDAR")
    return _ICS.join(_folded(line) for line in lines) + _ICS


def _event(row: BoardRow, stamp: str) -> list[str]:
    due = row.status.due_on or date.min
    item = row.instrument
    return [
        "BEGIN:VEVENT",
        f"UID:instrument-{item.pk}-{due:%Y%m%d}@withstand",
        f"DTSTAMP:{stamp}",
        f"DTSTART;VALUE=DATE:{due:%Y%m%d}",
        f"DTEND;VALUE=DATE:{due + timedelta(days=1):%Y%m%d}",
        f"SUMMARY:{_escaped(f'Calibration of {item.identifier} due')}",
        f"DESCRIPTION:{_escaped(f'{item.description}. {row.status.reason}')}",
        f"LOCATION:{_escaped(item.location)}",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
    ]


def _escaped(text: str) -> str:
    plain = text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return " ".join(plain.split("\r")).replace("\n", "\\n")


def _folded(line: str) -> str:
    """Fold a line at 75 octets, never inside a character."""
    parts: list[bytes] = []
    current = b""
    for sign in line:
        octets = sign.encode()
        if len(current) + len(octets) > (75 if not parts else 74):
            parts.append(current)
            current = b""
        current += octets
    return f"{_ICS} ".join(part.decode() for part in [*parts, current])
