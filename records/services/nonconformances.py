"""What follows a unit that does not conform."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from labsite.ledger.services import record_entry, writing
from labsite.people.roles import Role
from records.models import Nonconformance, Run
from records.models.verdicts import Verdict
from records.services import lifecycle
from records.services.refusals import Refused, ValueRefused

Disposition: Any = Nonconformance.Disposition


def decide_nonconformance(*, nonconformance: Nonconformance, disposition: str, reason: str, by: Any) -> Nonconformance:
    """Decide what becomes of the unit; a concession and scrap close the matter, a retest waits for its run."""
    lifecycle.require_role(
        by,
        Role.APPROVER,
        Role.QUALITY_MANAGER,
        words="Only an approver or the quality manager decides a nonconformance.",
    )
    if disposition not in (Disposition.RETEST, Disposition.CONCESSION, Disposition.SCRAP):
        raise ValueRefused("Choose repair and retest, concession by the customer, or scrap.")
    words = lifecycle.required_text(reason, "Say why: what was found, who agreed. Nothing was changed.")
    with writing():
        row = Nonconformance.objects.select_for_update().get(pk=nonconformance.pk)
        if row.disposition:
            raise Refused(f"This was already decided: {row.get_disposition_display().lower()}, by {row.decided_by}.")
        row.disposition, row.disposition_reason, row.decided_by = disposition, words, by
        row.decided_at = timezone.now()
        told: dict[str, Any] = {"disposition": [None, disposition]}
        if disposition != Disposition.RETEST:
            row.closed_at = row.decided_at
            told["closed_at"] = [None, row.closed_at]
        row.save()
        record_entry(action="nonconformance.decide", subject=row, changes=told, reason=words, by=by)
        return row


def open_for(*, run: Run, by: Any) -> Nonconformance | None:
    """Open a nonconformance for an approved run that found the unit not conforming; for no other."""
    if run.verdict != Verdict.DOES_NOT_CONFORM:
        return None
    with writing():
        row = Nonconformance.objects.create(run=run)
        record_entry(action="nonconformance.open", subject=row, changes={"run": [None, run.number]}, by=by)
        return row


def close_by(*, run: Run, by: Any) -> list[Nonconformance]:
    """Close every nonconformance that an approved, conforming run was the retest for, back along its repeats."""
    if run.verdict != Verdict.CONFORMS:
        return []
    with writing():
        rows = Nonconformance.objects.select_for_update().filter(
            run__in=_earlier(run), disposition=Disposition.RETEST, closed_at__isnull=True
        )
        closed = list(rows)
        for row in closed:
            row.closed_by_run, row.closed_at = run, timezone.now()
            row.save(update_fields=["closed_by_run", "closed_at"])
            record_entry(
                action="nonconformance.close", subject=row, changes={"closed_by_run": [None, run.number]}, by=by
            )
        return closed


def _earlier(run: Run) -> list[int]:
    found, current = [], run.repeats
    while current is not None:
        found.append(current.pk)
        current = current.repeats
    return found
