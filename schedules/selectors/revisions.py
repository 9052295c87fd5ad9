"""What a revision of a plan changed, and what a review decided about the tests made before."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from schedules.models import Plan, RevisionReview, Step, Unit
from schedules.rules.differences import Differences, StepDifference, differences


def revision_before(plan: Plan) -> Plan | None:
    """Return the revision that a plan replaced, None for the first."""
    return (
        Plan.objects.filter(unit=plan.unit_id, revision__lt=plan.revision)
        .prefetch_related("steps__arrangements")
        .order_by("-revision")
        .first()
    )


def what_changed(before: Plan, after: Mapping[str, Any]) -> Differences:
    """Return what differs between a revision and the plan that follows it."""
    return differences(before.document, after)


def earlier_step_of(step: Step) -> Step | None:
    """Return the same test in the revision before, None where it had none."""
    before = revision_before(step.plan)
    if before is None:
        return None
    found = _by_place(what_changed(before, step.plan.document)).get(step.position - 1)
    if found is None or found.before is None:
        return None
    return before.steps.get(position=found.before + 1)


@dataclass(frozen=True)
class ReviewLine:
    """One step of a revision: what changed in it, and what a review decided; `review` is None until then."""

    step: Step
    difference: StepDifference
    review: RevisionReview | None

    @property
    def can_be_reviewed(self) -> bool:
        """Say whether there is something to decide."""
        return self.review is None and self.difference.before is not None


@dataclass(frozen=True)
class RevisionChange:
    """What a revision changed against the one before."""

    before: Plan
    differences: Differences
    lines: list[ReviewLine]
    gone: list[str]


def revision_change(plan: Plan) -> RevisionChange | None:
    """Return what a revision changed, with the review of each step; None for the first revision."""
    before = revision_before(plan)
    if before is None:
        return None
    found = what_changed(before, plan.document)
    places = _by_place(found)
    reviews = {one.step_id: one for one in RevisionReview.objects.filter(step__plan=plan).select_related("decided_by")}
    lines = [ReviewLine(step, places[step.position - 1], reviews.get(step.pk)) for step in plan.steps.all()]
    return RevisionChange(before, found, lines, [one.title for one in found.steps if one.state == "gone"])


def lines_of(change: RevisionChange | None) -> list[ReviewLine]:
    """Return the steps of a revision's change; none for the first revision."""
    return change.lines if change is not None else []


def differences_to(unit: Unit, document: Mapping[str, Any] | None) -> Differences | None:
    """Return what a proposed plan would change against the one that holds; None where there is neither."""
    plan = next((one for one in unit.plans.all() if one.is_current), None)
    return what_changed(plan, document) if plan is not None and document is not None else None


def _by_place(found: Differences) -> dict[int, StepDifference]:
    return {one.after: one for one in found.steps if one.after is not None}
