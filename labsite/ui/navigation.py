"""The table of the main navigation: which room, for whom."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

LABORATORY = frozenset({"tester", "approver", "quality_manager"})


@dataclass(frozen=True)
class Room:
    """A room of the site, the name of its address and the roles that find a door to it in the head."""

    label: str
    url_name: str
    roles: frozenset[str]


@dataclass(frozen=True)
class Entry:
    """One link in the head of a page."""

    label: str
    url: str
    is_current: bool


ROOMS = (
    Room("Today", "records:today", LABORATORY),
    Room("Orders", "schedules:orders", LABORATORY),
    Room("Units", "schedules:units", LABORATORY),
    Room("Instruments", "equipment:instruments", LABORATORY),
    Room("Rule packs", "schedules:packs", LABORATORY),
    Room("Certificates", "records:certificates", LABORATORY),
    Room("Nonconformances", "records:nonconformances", frozenset({"approver", "quality_manager"})),
    Room("Bays", "schedules:bays", frozenset({"quality_manager", "administrator"})),
    Room("Authorisations", "schedules:authorisations", frozenset({"quality_manager", "administrator"})),
    Room("People", "people:people", frozenset({"administrator"})),
    Room("Portal", "portal:home", frozenset({"customer"})),
)


def entries(request: HttpRequest) -> list[Entry]:
    """Return the links that this person may follow; the longest address that begins the page's own is current."""
    roles = role_names(getattr(request, "user", None))
    found = [(room.label, url) for room in ROOMS if roles & room.roles and (url := _address(room.url_name))]
    beginnings = [url for _, url in found if request.path == url or (url != "/" and request.path.startswith(url))]
    current = max(beginnings, key=len, default=None)
    return [Entry(label, url, url == current) for label, url in found]


def role_names(user: Any) -> frozenset[str]:
    """Return the roles of a signed-in person, of nobody none."""
    if user is None or not user.is_authenticated:
        return frozenset()
    return frozenset(getattr(user, "role_names", frozenset()))


def _address(url_name: str) -> str | None:
    try:
        return reverse(url_name)
    except NoReverseMatch:
        return None
