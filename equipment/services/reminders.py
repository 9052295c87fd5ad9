"""Reminders of due dates: one digest a person, no event told twice, whatever happens to clock or server."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.utils import timezone

from equipment.models import Instrument, Reminder, ReminderSetting
from equipment.models.reminders import DAYS_BEFORE
from equipment.selectors.status import instrument_status
from equipment.services.rights import require_right
from labsite.ledger.services import change_fields, record_entry, writing
from labsite.people.models import User
from labsite.people.roles import LABORATORY_ROLES, Role

log = logging.getLogger(__name__)
OVERDUE = "overdue"


@dataclass(frozen=True)
class Due:
    """One instrument with its due date, and how many days are left."""

    instrument: Instrument
    due_on: date
    days_left: int


def events_of(days_left: int, days_before: Sequence[int], *, wants_escalation: bool) -> list[str]:
    """Return every event that has come for a due date: each number of days reached, and each week overdue so far.

    Examples
    --------
    >>> events_of(25, [60, 30, 7, 0], wants_escalation=True)
    ['60', '30']
    >>> events_of(-8, [7, 0], wants_escalation=True)
    ['7', '0', 'overdue-1', 'overdue-2']
    """
    reached = [str(days) for days in days_before if days_left <= days]
    if wants_escalation and days_left < 0:
        weeks = (-days_left - 1) // 7 + 1
        reached += [f"{OVERDUE}-{week}" for week in range(max(1, weeks - 51), weeks + 1)]
    return reached


def send_reminders(today: date | None = None) -> int:
    """Send each person one digest of the events that have come and were not told; return how many digests went out.

    The rows that say what was told are stored first, so that a restart, a second worker or a clock set back tells
    nothing twice; where the mail cannot be sent they are freed again for the next time.
    """
    on = today or timezone.localdate()
    due = _due(on)
    settings_of = {row.user_id: row for row in ReminderSetting.objects.all()}
    people = User.objects.holding(*LABORATORY_ROLES).prefetch_related("grants")
    sent = 0
    for person in people:
        setting = settings_of.get(person.pk)
        if not _is_told(person, setting):
            continue
        days, escalates = _wishes(person, setting)
        lines = _claim(person, due, days, escalates)
        if lines:
            sent += _send(person, lines, on)
    return sent


def _due(on: date) -> list[Due]:
    found = []
    for instrument in Instrument.objects.not_retired().for_list():
        status = instrument_status(instrument, on)
        if status.code in ("valid", "expired") and status.due_on is not None and status.days_left is not None:
            found.append(Due(instrument, status.due_on, status.days_left))
    return sorted(found, key=lambda entry: (entry.due_on, entry.instrument.identifier))


def _is_told(person: User, setting: ReminderSetting | None) -> bool:
    """Say whether a person is told: as they said, else quality managers of everything and approvers of overdue ones."""
    if setting is not None:
        return setting.is_wanted
    return person.has_role(Role.QUALITY_MANAGER, Role.APPROVER)


def _wishes(person: User, setting: ReminderSetting | None) -> tuple[list[int], bool]:
    if setting is not None:
        return sorted(setting.days_before, reverse=True), setting.wants_escalation
    return (list(DAYS_BEFORE) if person.has_role(Role.QUALITY_MANAGER) else []), True


def _claim(person: User, due: Sequence[Due], days: Sequence[int], escalates: bool) -> list[tuple[Due, list[int]]]:
    """Store what is going to be told and return it; what another has stored already is left out."""
    lines = []
    now = timezone.now()
    with writing():
        told = set(Reminder.objects.filter(user=person).values_list("instrument_id", "due_on", "event"))
        for entry in due:
            events = events_of(entry.days_left, days, wants_escalation=escalates)
            fresh = [event for event in events if (entry.instrument.pk, entry.due_on, event) not in told]
            rows = Reminder.objects.bulk_create(
                Reminder(user=person, instrument=entry.instrument, due_on=entry.due_on, event=event, sent_at=now)
                for event in fresh
            )
            if rows:
                lines.append((entry, [row.pk for row in rows]))
    return lines


def _send(person: User, lines: Sequence[tuple[Due, list[int]]], on: date) -> bool:
    overdue = sum(entry.days_left < 0 for entry, _ in lines)
    subject = f"Calibrations due: {len(lines)}"
    if overdue:
        subject = f"Calibrations: {overdue} overdue, {len(lines) - overdue} due"
    body = "\n".join([f"Instruments on {on}", "", *(_words(entry) for entry, _ in lines)])
    try:
        send_mail(subject, body, settings.DEFAULT_FROM_EMAIL, [person.email])
    except Exception:  # the mail server may answer anything; the rows are freed and the next hour tries again
        log.exception("The digest for %s could not be sent.", person.pk)
        Reminder.objects.filter(pk__in=[key for _, keys in lines for key in keys]).delete()
        return False
    return True


def _words(entry: Due) -> str:
    item, days = entry.instrument, entry.days_left
    unit = "day" if abs(days) == 1 else "days"
    when = f"due {entry.due_on}, {days} {unit} left" if days >= 0 else f"OVERDUE since {entry.due_on}, {-days} {unit}"
    place = f", {item.location}" if item.location else ""
    return f"- {item.identifier} {item.description}{place}: {when}"


def set_reminders(
    *, person: User, version: int, is_wanted: bool, days_before: Sequence[int], wants_escalation: bool, by: Any
) -> ReminderSetting:
    """Keep how a person wants to be reminded; only the person themself says so."""
    require_right("set_reminders", by)
    if person.pk != by.pk:
        raise ValidationError("Everybody sets their own reminders.")
    days = sorted(set(days_before), reverse=True)
    if not all(0 <= day <= 365 for day in days) or len(days) > 12:
        raise ValidationError({"days_before": "Up to twelve numbers of days from 0 to 365."})
    with writing():
        row, is_new = ReminderSetting.objects.get_or_create(user=person)
        if is_new:
            told = {"user": [None, person.email]}
            record_entry(action="equipment.set_reminders", subject=row, changes=told, by=by)
        changes = {"is_wanted": is_wanted, "days_before": days, "wants_escalation": wants_escalation}
        seen = row.version if is_new else version
        return change_fields(instance=row, version=seen, changes=changes, action="equipment.set_reminders", by=by)
