"""What the history page needs."""

from __future__ import annotations

from django import template

from labsite.ledger.models import Entry
from labsite.ledger.wording import Told, changes_in_words, deed_in_words

register = template.Library()


@register.filter
def deed(entry: Entry) -> str:
    """Return what was done, in words."""
    return deed_in_words(entry.action)


@register.filter
def told(entry: Entry) -> list[Told]:
    """Return what changed, in words."""
    return changes_in_words(entry.changes)


@register.filter
def person(entry: Entry) -> str:
    """Return who did it, without the address that the entry keeps beside the name."""
    return entry.actor_label.partition(" <")[0]
