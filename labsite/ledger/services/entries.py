"""Writes the next entry."""

from __future__ import annotations

from typing import Any, TypeAlias

from django.db import models
from django.utils import timezone

from labsite.ledger import canonical, request_state
from labsite.ledger.errors import NotWriting
from labsite.ledger.models import Entry
from labsite.ledger.models.entry import FIRST_PREVIOUS
from labsite.ledger.services.transactions import is_writing

Subject: TypeAlias = models.Model | tuple[str, Any, str]


def subject_of(subject: Subject) -> tuple[str, str, str]:
    """Return type ("records.run"), id and label of what an entry is about."""
    if isinstance(subject, models.Model):
        subject = (subject._meta.label_lower, subject.pk, str(subject))
    kind, identity, label = subject
    return str(kind), str(identity), canonical.text(str(label))[:200]


def _actor_of(by: Any) -> tuple[Any, str]:
    """Return the account (or None) and the printed name of who acts: a user, a name, or anything with actor_label."""
    if isinstance(by, str):
        account, label = None, by
    else:
        account = by if isinstance(by, models.Model) and getattr(by, "is_authenticated", False) else None
        label = str(getattr(by, "actor_label", "") or by)
    if not label.strip():
        raise ValueError("An entry needs the name of who acts.")
    return account, canonical.text(label)[:200]


def record_entry(
    *, action: str, subject: Subject, changes: dict[str, Any] | None = None, reason: str = "", by: Any
) -> Entry:
    """Write the next entry of the ledger, inside the transaction of the deed itself.

    `changes` maps a field to [old, new]. `by` is a user, a printed name, or an object with `actor_label`.
    """
    if not is_writing():
        raise NotWriting(f"The entry {action} was asked for outside writing().")
    account, label = _actor_of(by)
    kind, identity, subject_label = subject_of(subject)
    last = Entry.objects.order_by("-sequence").values_list("sequence", "digest").first()
    sequence, previous = last or (0, FIRST_PREVIOUS)
    entry = Entry(
        sequence=sequence + 1,
        at=timezone.now(),
        actor=account,
        actor_label=label,
        action=action,
        subject_type=kind,
        subject_id=identity,
        subject_label=subject_label,
        changes=canonical.plain(changes or {}),
        reason=canonical.text(reason),
        request_id=request_state.request_id.get()[:64],
        previous_digest=previous,
    )
    entry.digest = entry.computed_digest()
    entry.save(force_insert=True)
    return entry
