"""Whether a person may perform or approve a kind of test."""

from __future__ import annotations

from datetime import date
from typing import Any, NamedTuple

from schedules.models import Authorisation
from schedules.rules import STEP_KINDS


class Answer(NamedTuple):
    """Whether a person is authorised, and the reason in words."""

    is_authorised: bool
    reason: str


def authorised(user: Any, kind: str, activity: str, on: date) -> Answer:
    """Say whether the person may perform or approve this kind of test on the day, and why (or why not)."""
    name = STEP_KINDS.get(kind, kind).lower()
    rows = list(Authorisation.objects.filter(user=user, kind=kind, activity=activity).order_by("valid_until"))
    holding = [row for row in rows if row.valid_from <= on <= row.valid_until]
    if not user.is_active:
        return Answer(False, f"The account of {user.name} is switched off.")
    if holding:
        return Answer(True, f"{user.name} may {activity} {name} until {holding[-1].valid_until:%-d %B %Y}.")
    past = [row for row in rows if row.valid_until < on]
    if past:
        return Answer(
            False, f"The authorisation of {user.name} to {activity} {name} ended on {past[-1].valid_until:%-d %B %Y}."
        )
    if rows:
        return Answer(
            False, f"The authorisation of {user.name} to {activity} {name} begins on {rows[0].valid_from:%-d %B %Y}."
        )
    return Answer(False, f"{user.name} holds no authorisation to {activity} {name}.")
