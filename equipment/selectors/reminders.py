"""How a person is reminded, and whether a calendar address is open."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.db.models import Q, QuerySet
from django.utils import timezone

from equipment.models import CalendarFeed, ReminderDigest, ReminderSetting
from labsite.people.roles import Role


def setting_of(person: Any) -> ReminderSetting:
    """Return how a person is reminded; where nothing was set, what holds for their roles."""
    found = ReminderSetting.objects.filter(user=person).first()
    return found or ReminderSetting(user=person, is_wanted=person.has_role(Role.QUALITY_MANAGER, Role.APPROVER))


def calendar_feed_of(person: Any) -> CalendarFeed | None:
    """Return the open calendar address of a person, or None; the secret itself is not kept."""
    return CalendarFeed.objects.filter(user=person).first()


LONGEST_SENDING = timedelta(minutes=10)  # an exchange with a mail server that takes longer was interrupted


def digests_in_doubt() -> QuerySet[ReminderDigest]:
    """Return the digests that may not have gone out: begun, not sent, and not being sent at this moment."""
    now = timezone.now()
    stopped = Q(begun_at__lt=now - LONGEST_SENDING) | Q(
        begun_at__gt=now
    )  # begun later than now: the clock was set back
    rows = ReminderDigest.objects.filter(stopped, sent_at__isnull=True, closed_at__isnull=True)
    return rows.select_related("user").order_by("pk")
