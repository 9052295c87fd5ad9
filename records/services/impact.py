"""Nonconforming work: opened by a calibration that found an instrument wrong, worked through and closed by people."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from equipment.models import Calibration
from labsite.jobs.services import enqueue
from labsite.ledger.services import change_fields, record_entry, writing
from labsite.people.roles import Role
from records.models import AffectedRun, CustomerLetter, NonconformingWork
from records.selectors.impact import last_good
from records.services.lifecycle import require_role, required_text
from records.services.refusals import Refused, ValueRefused

TRACE_JOB = "records.trace_impact"
PART_JOB = "records.recompute_impact"
DOCUMENT_JOB = "records.compose_impact"
WHO = "Only the quality manager or an approver decides about nonconforming work."
State: Any = NonconformingWork.State
Decision: Any = AffectedRun.Decision


def open_work(calibration: Calibration, by: Any) -> NonconformingWork:
    """Open the work that a calibration found wrong calls for, and have the runs since the last good one traced.

    Called in the transaction that stores the calibration; the same calibration opens it once.
    """
    with writing():
        good = last_good(calibration)
        work, is_new = NonconformingWork.objects.get_or_create(
            calibration=calibration,
            defaults={
                "good_calibration": good,
                "from_on": good.calibrated_on if good else None,
                "to_on": calibration.calibrated_on,
                "found": f"{calibration.instrument} was found outside what is required, {calibration}."[:300],
                "opened_by": by,
            },
        )
        if is_new:
            told = {"calibration": [None, str(calibration)], "from_on": [None, work.from_on]}
            record_entry(action="impact.open", subject=work, changes=told, by=by)
            key = f"{TRACE_JOB}:{work.pk}"
            enqueue(name=TRACE_JOB, args={"work_id": work.pk}, key=key, by=by)
        return work


def decide_run(*, affected: AffectedRun, decision: str, reason: str, by: Any) -> AffectedRun:
    """Record what a person decided about one affected run; the run, its verdict and certificates stay as they are.

    Refuses without a reason, twice, before it was recomputed, and that a result stands whose verdict changes.
    """
    require_role(by, Role.QUALITY_MANAGER, Role.APPROVER, words=WHO)
    if decision not in Decision.values or not decision:
        raise ValueRefused("Choose what becomes of the result.")
    words = required_text(reason, "Say why; the document for the file prints it. Nothing was changed.")
    with writing():
        row = AffectedRun.objects.select_for_update(of=("self",)).select_related("run", "work").get(pk=affected.pk)
        _refuse_closed(row.work)
        if row.recomputed_at is None:
            raise Refused("This run is not recomputed yet; wait for the numbers.")
        if row.decision:
            raise Refused(f"This was already decided: {row.get_decision_display().lower()}, by {row.decided_by}.")
        if decision == Decision.STANDS and row.effect_constant == row.effect_linear == "flips":
            raise Refused(
                "Under both assumptions the verdict changes, so the result cannot simply stand. Test again, amend or "
                "withdraw the certificate, or record that the customer accepts it."
            )
        row.decision, row.decision_reason, row.decided_by, row.decided_at = decision, words, by, timezone.now()
        row.save(update_fields=["decision", "decision_reason", "decided_by", "decided_at"])
        told = {"run": [None, row.run.number], "decision": [None, decision]}
        record_entry(action="impact.decide", subject=row.work, changes=told, reason=words, by=by)
        return row


def decide_all_that_stand(*, work: NonconformingWork, reason: str, by: Any) -> int:
    """Record that every run whose verdict stands, or is not touched, under both assumptions stands, in one decision."""
    require_role(by, Role.QUALITY_MANAGER, Role.APPROVER, words=WHO)
    words = required_text(reason, "Say why; the document for the file prints it. Nothing was changed.")
    with writing():
        held = _locked(work)
        _refuse_closed(held)
        clear = ("stands", "untouched")
        rows = held.runs.filter(decision="", effect_constant__in=clear, effect_linear__in=clear)
        numbers = list(rows.values_list("run__number", flat=True))
        rows.update(decision=Decision.STANDS, decision_reason=words, decided_by=by, decided_at=timezone.now())
        told = {"runs": [None, numbers], "decision": [None, Decision.STANDS]}
        record_entry(action="impact.decide", subject=held, changes=told, reason=words, by=by)
        return len(numbers)


def edit_letter(*, letter: CustomerLetter, version: int, text: str, by: Any) -> CustomerLetter:
    """Change the draft of a letter as its editor saw it. Refuses one that was sent."""
    require_role(by, Role.QUALITY_MANAGER, Role.APPROVER, words=WHO)
    words = required_text(text, "A letter needs words. Nothing was changed.")
    with writing():
        if CustomerLetter.objects.get(pk=letter.pk).sent_at is not None:
            raise Refused("This letter was sent; it is not edited any more.")
        return change_fields(
            instance=letter, version=version, changes={"text": words}, action="impact.edit_letter", by=by
        )


def mark_letter_sent(*, letter: CustomerLetter, how: str, by: Any) -> CustomerLetter:
    """Record that a person sent a letter, and how; the site itself sends none."""
    require_role(by, Role.QUALITY_MANAGER, Role.APPROVER, words=WHO)
    words = required_text(how, "Say how it was sent: by post, by mail to whom. Nothing was changed.")
    with writing():
        row = CustomerLetter.objects.select_for_update(of=("self",)).get(pk=letter.pk)
        if row.sent_at is not None:
            raise Refused(f"This letter was sent already: {row.sent_how}.")
        row.sent_by, row.sent_at, row.sent_how = by, timezone.now(), words[:200]
        row.save(update_fields=["sent_by", "sent_at", "sent_how"])
        told = {"customer": [None, str(row.customer)], "sent_how": [None, row.sent_how]}
        record_entry(action="impact.send_letter", subject=row, changes=told, by=by)
        return row


def ask_for_document(*, work: NonconformingWork, by: Any) -> Any:
    """Have the document for the file composed as things stand now; return the job."""
    require_role(by, Role.QUALITY_MANAGER, Role.APPROVER, words=WHO)
    with writing():
        held = _locked(work)
        decided = held.runs.exclude(decision="").count()
        key = f"{DOCUMENT_JOB}:{held.pk}:{held.state}:{decided}:{held.letters.filter(sent_at__isnull=False).count()}"
        return enqueue(name=DOCUMENT_JOB, args={"work_id": held.pk}, key=key, by=by)


def close_work(*, work: NonconformingWork, conclusion: str, by: Any) -> NonconformingWork:
    """Close nonconforming work. Refuses while a run is not decided or a customer not written to."""
    require_role(by, Role.QUALITY_MANAGER, words="Only the quality manager closes nonconforming work.")
    words = required_text(conclusion, "Say what was concluded: cause, effect, what keeps it from happening again.")
    with writing():
        held = _locked(work)
        _refuse_closed(held)
        if held.state == State.TRACING:
            raise Refused("The runs are still being recomputed; wait for the numbers.")
        undecided = held.runs.filter(decision="").count()
        unsent = held.letters.filter(sent_at__isnull=True).count()
        if undecided or unsent:
            raise Refused(f"Still open: {undecided} runs to decide, {unsent} letters to send. Nothing was changed.")
        held.state, held.conclusion, held.closed_by, held.closed_at = State.CLOSED, words, by, timezone.now()
        held.version += 1
        held.save(update_fields=["state", "conclusion", "closed_by", "closed_at", "version"])
        record_entry(action="impact.close", subject=held, changes={"conclusion": [None, words]}, by=by)
        return held


def _locked(work: NonconformingWork) -> NonconformingWork:
    return NonconformingWork.objects.select_for_update(of=("self",)).get(pk=work.pk)


def _refuse_closed(work: NonconformingWork) -> None:
    if work.state == State.CLOSED:
        raise Refused(f"This was closed by {work.closed_by}; it is not changed any more.")
