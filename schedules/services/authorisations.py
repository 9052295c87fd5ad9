"""Authorisations: granting and ending them."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.utils import timezone

from labsite.ledger.services import change_fields, create_with_entry, record_entry, writing
from labsite.people.roles import LABORATORY_ROLES
from schedules.models import Authorisation
from schedules.rules import STEP_KINDS
from schedules.services.refusals import Refusal, ScheduleRefused
from schedules.services.rights import require

CORRECTABLE = ("kind", "activity", "valid_from", "valid_until")


def grant_authorisation(
    *, user: Any, kind: str, activity: str, valid_from: date, valid_until: date, by: Any
) -> Authorisation:
    """Authorise a person of the laboratory for one kind of test and one activity, both days included.

    Refuses people outside the laboratory, unknown kinds and activities, an end before the start, and a span that
    touches one already granted for the same.
    """
    require(by, "grant_authorisation")
    _check(user, kind, activity, valid_from, valid_until)
    with writing():
        _refuse_overlap(user, kind, activity, valid_from, valid_until)
        granted = Authorisation(
            user=user, kind=kind, activity=activity, valid_from=valid_from, valid_until=valid_until, granted_by=by
        )
        return create_with_entry(instance=granted, action="authorisation.granted", by=by)


def end_authorisation(*, authorisation: Authorisation, last_day: date, reason: str, by: Any) -> Authorisation:
    """End an authorisation earlier than it was granted for; `last_day` is the last on which it holds.

    Refuses an empty reason, a last day that would lengthen it or lies before its start, and one before yesterday:
    what was done under it until now stays authorised.
    """
    require(by, "end_authorisation")
    if not reason.strip():
        raise ScheduleRefused.of("Say why the authorisation ends.", "reason")
    with writing():
        row = Authorisation.objects.select_for_update().get(pk=authorisation.pk)
        if last_day >= row.valid_until:
            raise ScheduleRefused.of(f"It ends on {row.valid_until:%-d %B %Y} anyway; give an earlier day.", "last_day")
        earliest = max(row.valid_from, timezone.localdate() - timedelta(days=1))
        if last_day < earliest:
            raise ScheduleRefused.of(f"The last day can be {earliest:%-d %B %Y} at the earliest.", "last_day")
        before, row.valid_until = row.valid_until, last_day
        row.version += 1
        row.save(update_fields=["valid_until", "version"])
        changes = {"valid_until": [before, last_day]}
        record_entry(action="authorisation.ended", subject=row, changes=changes, reason=reason.strip(), by=by)
        return row


def correct_authorisation(
    *, authorisation: Authorisation, version: int, changes: dict[str, Any], reason: str, by: Any
) -> Authorisation:
    """Put right an authorisation that was entered wrongly, as its editor saw it at `version`; the person stays.

    Refuses what `grant_authorisation` refuses, another person, and an empty reason. Raises `StaleEdit` when it
    moved on. What was done under it stays in the records with the authorisation that held then.
    """
    require(by, "correct_authorisation")
    unknown = sorted(set(changes) - set(CORRECTABLE))
    if unknown:
        raise ScheduleRefused.of(f"An authorisation has no field to correct named {', '.join(unknown)}.")
    if not reason.strip():
        raise ScheduleRefused.of("Say what was wrong.", "reason")
    with writing():
        row = Authorisation.objects.select_related("user").select_for_update(of=("self",)).get(pk=authorisation.pk)
        after = {name: changes.get(name, getattr(row, name)) for name in CORRECTABLE}
        _check(row.user, **after)
        _refuse_overlap(row.user, **after, but=row.pk)
        return change_fields(
            instance=row,
            version=version,
            changes=changes,
            action="authorisation.corrected",
            reason=reason.strip(),
            by=by,
        )


def _refuse_overlap(
    user: Any, kind: str, activity: str, valid_from: date, valid_until: date, but: int | None = None
) -> None:
    same = Authorisation.objects.filter(user=user, kind=kind, activity=activity).exclude(pk=but)
    other = same.filter(valid_from__lte=valid_until, valid_until__gte=valid_from).first()
    if other is not None:
        span = f"{other.valid_from:%-d %B %Y} to {other.valid_until:%-d %B %Y}"
        raise ScheduleRefused.of(f"{user.name} already holds this from {span}. End that one first.", "valid_from")


def _check(user: Any, kind: str, activity: str, valid_from: date, valid_until: date) -> None:
    found = []
    if not (user.is_active and user.has_role(*LABORATORY_ROLES)):
        found.append(Refusal("user", f"{user.name} has no role in the laboratory's technical work."))
    if kind not in STEP_KINDS:
        found.append(Refusal("kind", f"Choose one of {', '.join(STEP_KINDS)}."))
    if activity not in Authorisation.Activity.values:
        found.append(Refusal("activity", f"Choose one of {', '.join(Authorisation.Activity.values)}."))
    if valid_until < valid_from:
        found.append(Refusal("valid_until", "The end lies before the start."))
    if found:
        raise ScheduleRefused(*found)
