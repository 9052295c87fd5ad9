"""Revisions of a plan: a review decides which of the tests made by the one before stand and which are repeated."""

from __future__ import annotations

from typing import Any

from labsite.ledger.services import create_with_entry, record_entry, writing
from schedules.models import RevisionReview, Step
from schedules.selectors.revisions import earlier_step_of
from schedules.services.refusals import ScheduleRefused
from schedules.services.rights import require


def review_step(*, step: Step, decision: str, reason: str, by: Any) -> RevisionReview:
    """Decide whether the runs that were made of a step by the revision before stand for it, or are repeated.

    Where they stand, each arrangement takes over the runs of the arrangement of the same name; runs themselves are not
    touched. Refuses an older revision, a step that the revision before does not have, a decision that was made
    already, an empty reason, and the person who adopted the plan.
    """
    require(by, "review_revision")
    if decision not in RevisionReview.Decision.values:
        raise ScheduleRefused.of("Decide: what was done stands, or it is to be repeated.", "decision")
    if not reason.strip():
        raise ScheduleRefused.of("Say why.", "reason")
    with writing():
        row = Step.objects.select_related("plan").select_for_update(of=("self",)).get(pk=step.pk)
        earlier = _earlier(row, by)
        review = RevisionReview(step=row, earlier_step=earlier, decision=decision, reason=reason.strip(), decided_by=by)
        create_with_entry(instance=review, action="step.reviewed", reason=review.reason, by=by)
        if decision == RevisionReview.Decision.STANDS:
            _carry(row, earlier, by)
        return review


def _earlier(step: Step, by: Any) -> Step:
    if not step.plan.is_current:
        raise ScheduleRefused.of("This step belongs to an older revision of the plan; review the current one.")
    if step.plan.made_by_id == by.pk:
        raise ScheduleRefused.of("You adopted this revision. Somebody else has to review what is repeated.")
    if RevisionReview.objects.filter(step=step).exists():
        raise ScheduleRefused.of(f"{step.title} was reviewed already.")
    earlier = earlier_step_of(step)
    if earlier is None:
        raise ScheduleRefused.of(f"The revision before has no {step.title}; it is tested anew.")
    return earlier


def _carry(step: Step, earlier: Step, by: Any) -> None:
    """Let each arrangement stand on the runs of its namesake, or on those that its namesake stands on."""
    before = {arrangement.name: arrangement for arrangement in earlier.arrangements.all()}
    for arrangement in step.arrangements.all():
        source = before.get(arrangement.name)
        if source is None:
            continue
        arrangement.carried_from_id = source.carried_from_id or source.pk
        arrangement.save(update_fields=["carried_from"])
        changes = {"carried_from": [None, f"{arrangement.name} of revision {earlier.plan.revision}"]}
        record_entry(action="step.carried", subject=step, changes=changes, by=by)
