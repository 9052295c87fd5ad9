"""How a person is reminded, and whether a calendar address is open."""

from __future__ import annotations

from typing import Any

from equipment.models import CalendarFeed, ReminderSetting
from labsite.people.roles import Role


def setting_of(person: Any) -> ReminderSetting:
    """Return how a person is reminded; where nothing was set, what holds for their roles."""
    found = ReminderSetting.objects.filter(user=person).first()
    return found or ReminderSetting(user=person, is_wanted=person.has_role(Role.QUALITY_MANAGER, Role.APPROVER))


def calendar_feed_of(person: Any) -> CalendarFeed | None:
    """Return the open calendar address of a person, or None; the secret itself is not kept."""
    return CalendarFeed.objects.filter(user=person).first()
