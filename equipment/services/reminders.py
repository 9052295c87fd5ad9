"""Reminders of due dates: one digest a person, no event lost or told twice, whatever happens to clock or server."""

from __future__ import annotations

import contextlib
import logging
import smtplib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from email.utils import make_msgid
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import EmailMessage, get_connection
from django.db import transaction
from django.utils import timezone

from equipment.metrology.validity import in_words
from equipment.models import Instrument, Reminder, ReminderDigest, ReminderSetting
from equipment.models.reminders import DAYS_BEFORE
from equipment.selectors.reminders import digests_in_doubt
from equipment.selectors.status import instrument_status
from equipment.services.rights import require_right
from labsite.ledger.services import change_fields, record_entry, writing
from labsite.people.models import User
from labsite.people.roles import LABORATORY_ROLES, Role

log = logging.getLogger(__name__)
OVERDUE = "overdue"
COME_BEFORE = "This may have reached you before: the site was interrupted while it was being sent."


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

    A digest is stored before it goes out, so that a restart, a second worker or a clock set back tells nothing twice;
    one that a kill kept from being begun goes out now, one that was begun and not finished waits for a person.
    """
    on = today or timezone.localdate()
    due = _due(on)
    settings_of = {row.user_id: row for row in ReminderSetting.objects.all()}
    for person in User.objects.holding(*LABORATORY_ROLES).prefetch_related("grants"):
        setting = settings_of.get(person.pk)
        if _is_told(person, setting):
            days, escalates = _wishes(person, setting)
            _intend(person, due, days, escalates, on)
    waiting = ReminderDigest.objects.filter(begun_at__isnull=True, closed_at__isnull=True, user__is_active=True)
    return sum(_carry_out(digest) for digest in waiting.select_related("user").order_by("pk"))


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


def _intend(person: User, due: Sequence[Due], days: Sequence[int], escalates: bool, on: date) -> None:
    """Store the digest of what is to be told; what another has taken already is left out."""
    with writing():
        told = set(Reminder.objects.filter(user=person).values_list("instrument_id", "due_on", "event"))
        lines: list[Due] = []
        rows: list[Reminder] = []
        for entry in due:
            events = events_of(entry.days_left, days, wants_escalation=escalates)
            fresh = [event for event in events if (entry.instrument.pk, entry.due_on, event) not in told]
            lines += [entry] if fresh else []
            rows += [
                Reminder(user=person, instrument=entry.instrument, due_on=entry.due_on, event=event) for event in fresh
            ]
        if not lines:
            return
        digest = ReminderDigest.objects.create(
            user=person,
            on=on,
            subject=_subject(lines),
            body="\n".join([f"Instruments on {in_words(on)}", "", *(_words(entry) for entry in lines)]),
            message_id=make_msgid(domain=settings.DEFAULT_FROM_EMAIL.rpartition("@")[2].rstrip(">")),
        )
        for row in rows:
            row.digest = digest
        Reminder.objects.bulk_create(rows)


def _subject(lines: Sequence[Due]) -> str:
    overdue = sum(entry.days_left < 0 for entry in lines)
    return (
        f"Calibrations: {overdue} overdue, {len(lines) - overdue} due"
        if overdue
        else (f"Calibrations due: {len(lines)}")
    )


def _carry_out(digest: ReminderDigest) -> bool:
    """Begin a digest that nobody else has begun, and send it; say whether the mail server took it."""
    with writing():
        mine = ReminderDigest.objects.filter(pk=digest.pk, begun_at__isnull=True).update(begun_at=timezone.now())
    return bool(mine) and _send(digest)


def _send(digest: ReminderDigest) -> bool:
    """Send a digest that was begun. What was certainly not taken is intended again; else, a person is asked."""
    connection = get_connection()
    body = f"{COME_BEFORE}\n\n{digest.body}" if digest.may_have_come_before else digest.body
    mail = EmailMessage(digest.subject, body, settings.DEFAULT_FROM_EMAIL, [digest.user.email], connection=connection)
    mail.extra_headers["Message-ID"] = digest.message_id
    try:
        connection.open()
    except Exception:  # whatever stands in the way of the server, it has not had a word of the mail
        log.exception("The mail server could not be reached for digest %s.", digest.pk)
        return _not_gone(digest)
    try:
        mail.send()
    except (smtplib.SMTPResponseException, smtplib.SMTPRecipientsRefused):
        log.exception("The mail server refused digest %s.", digest.pk)
        return _not_gone(digest)
    except Exception:  # the server may or may not have taken it; the board asks a person
        log.exception("Whether digest %s has gone out is not known.", digest.pk)
        return False
    else:
        ReminderDigest.objects.filter(pk=digest.pk).update(sent_at=timezone.now())
        return True
    finally:
        with contextlib.suppress(Exception):  # what was taken stays taken, however the server says goodbye
            connection.close()


def _not_gone(digest: ReminderDigest) -> bool:
    ReminderDigest.objects.filter(pk=digest.pk).update(begun_at=None)
    return False


def send_again(*, digest: ReminderDigest, by: Any) -> None:
    """Have a digest that may not have gone out sent after commit, with a word that it may have come before.

    Refuses one that was sent, was closed, or is being sent at this moment.
    """
    require_right("settle_reminders", by)
    with writing():
        row = _in_doubt(digest)
        row.begun_at, row.may_have_come_before = None, True
        row.save(update_fields=["begun_at", "may_have_come_before"])
        told = {"user": [None, row.user.email], "message_id": [None, row.message_id]}
        record_entry(action="equipment.send_reminder_again", subject=row, changes=told, by=by)
        transaction.on_commit(lambda: _carry_out(row))


def close_digest(*, digest: ReminderDigest, by: Any) -> None:
    """Record that a digest which may not have gone out has arrived; it is never sent again."""
    require_right("settle_reminders", by)
    with writing():
        row = _in_doubt(digest)
        row.closed_by, row.closed_at = by, timezone.now()
        row.save(update_fields=["closed_by", "closed_at"])
        told = {"user": [None, row.user.email], "message_id": [None, row.message_id]}
        record_entry(action="equipment.close_reminder", subject=row, changes=told, by=by)


def _in_doubt(digest: ReminderDigest) -> ReminderDigest:
    rows = ReminderDigest.objects.select_for_update(of=("self",)).select_related("user")
    row = rows.get(pk=digest.pk)
    if not digests_in_doubt().filter(pk=row.pk).exists():
        raise ValidationError("This reminder is no longer in doubt: it was sent, or is being sent. Nothing was done.")
    return row


def _words(entry: Due) -> str:
    item, days = entry.instrument, entry.days_left
    unit = "day" if abs(days) == 1 else "days"
    when = (
        f"due {in_words(entry.due_on)}, {days} {unit} left"
        if days >= 0
        else f"OVERDUE since {in_words(entry.due_on)}, {-days} {unit}"
    )
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
