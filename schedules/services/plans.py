"""Plans: what the ratings call for, freezing it for a unit, and releasing its hold points."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from labsite.ledger.services import create_with_entry, record_entry, writing
from schedules.models import Arrangement, Plan, Step, Unit
from schedules.rules import STEP_KINDS
from schedules.selectors import Proposal, proposal_of
from schedules.services.packs import note_use
from schedules.services.refusals import ScheduleRefused
from schedules.services.rights import require


def propose_plan(unit: Unit) -> dict[str, Any]:
    """Return the plan that ratings and agreed terms call for now; refuse in words where none follows."""
    return _proposal(unit).document or {}


def adopt_plan(*, unit: Unit, expected_digest: str = "", reason: str = "", by: Any) -> Plan:
    """Freeze the plan that follows now: its document and digest, its steps, their arrangements; the one before retires.

    Refuses an order whose contract was not reviewed, ratings from which no plan follows, a plan equal to the one that
    holds, and one that differs from what was shown (`expected_digest`).
    """
    require(by, "adopt_plan")
    with writing():
        unit = Unit.objects.select_related("order").select_for_update(of=("self",)).get(pk=unit.pk)
        if not unit.order.is_reviewed:
            raise ScheduleRefused.of(
                f"The contract of {unit.order.number} was not reviewed yet. It has to be before a plan is adopted."
            )
        proposal = _proposal(unit)
        if expected_digest and expected_digest != proposal.digest:
            raise ScheduleRefused.of("The ratings or the order changed after you opened this plan. Read it again.")
        revisions = list(unit.plans.select_for_update())
        current = next((plan for plan in revisions if plan.is_current), None)
        if current is not None and current.digest == proposal.digest:
            raise ScheduleRefused.of(f"Revision {current.revision} is this very plan; nothing was changed.")
        if current is not None:
            _retire(current, by)
        revision = max((plan.revision for plan in revisions), default=0) + 1
        plan = Plan(unit=unit, revision=revision, document=proposal.document, digest=proposal.digest, made_by=by)
        create_with_entry(instance=plan, action="plan.adopted", reason=reason.strip(), by=by)
        note_use(digests=[pack["sha256"] for pack in plan.document["packs"]], by=by)
        for position, document in enumerate(plan.document["steps"], start=1):
            _lay_step(plan, position, document)
        return plan


def release_hold_point(*, step: Step, reason: str, by: Any) -> Step:
    """Release a hold point, with the reason.

    Refuses a step that is no hold point, is released already or belongs to an older plan, an empty reason, and the
    person who adopted the plan: a hold point is a second pair of eyes.
    """
    require(by, "release_hold_point")
    with writing():
        step = Step.objects.select_related("plan").select_for_update(of=("self",)).get(pk=step.pk)
        _check_release(step, reason, by)
        step.released_by, step.released_at, step.release_reason = by, timezone.now(), reason.strip()
        step.save(update_fields=["released_by", "released_at", "release_reason"])
        changes = {"released_by": [None, by], "released_at": [None, step.released_at]}
        record_entry(action="step.released", subject=step, changes=changes, reason=step.release_reason, by=by)
        return step


def _proposal(unit: Unit) -> Proposal:
    proposal = proposal_of(order=unit.order, equipment=unit.equipment, ratings=unit.ratings)
    if proposal.document is None:
        raise ScheduleRefused.of(proposal.words, proposal.field)
    return proposal


def _retire(plan: Plan, by: Any) -> None:
    plan.is_current = False
    plan.save(update_fields=["is_current"])
    record_entry(action="plan.replaced", subject=plan, changes={"is_current": [True, False]}, by=by)


def _lay_step(plan: Plan, position: int, document: dict[str, Any]) -> None:
    step = Step.objects.create(
        plan=plan,
        position=position,
        kind=document["kind"],
        title=document["title"],
        point=document["point"] or Step.Point.NONE,
        document=document,
    )
    Arrangement.objects.bulk_create(
        Arrangement(
            step=step,
            position=place,
            name=arrangement["name"],
            energised=arrangement["energised"],
            earthed=arrangement["earthed"],
        )
        for place, arrangement in enumerate(document["arrangements"], start=1)
    )


def _check_release(step: Step, reason: str, by: Any) -> None:
    name = STEP_KINDS.get(step.kind, step.kind)
    if step.point != Step.Point.HOLD:
        raise ScheduleRefused.of(f"{step.title} ({name}) is no hold point; it needs no release.")
    if not step.plan.is_current:
        raise ScheduleRefused.of("This step belongs to an older revision of the plan; release it in the current one.")
    if step.released_at is not None:
        raise ScheduleRefused.of(f"{step.title} was already released by {step.released_by}.")
    if step.plan.made_by_id == by.pk:
        raise ScheduleRefused.of("You adopted this plan. Somebody else has to release its hold points.")
    if not reason.strip():
        raise ScheduleRefused.of("Say why the hold point may be passed.", "reason")
