"""Which type tests of sisters could be cited for a step, and whether one that was cited still holds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from records.models import Run
from records.models.verdicts import Verdict
from schedules.models import Evidence, Step
from schedules.rules import FIELDS_BY_NAME


@dataclass(frozen=True)
class Candidate:
    """The same test of a sister, with why it cannot be cited; nothing where it can."""

    step: Step
    reasons: tuple[str, ...]


def candidates_for(step: Step, viewer: Any) -> list[Candidate]:
    """Return the same type test of every sister of the design, the newest first."""
    unit = step.plan.unit
    if not unit.design or "evidence" not in step.document:
        return []
    found = (
        Step.objects.visible_to(viewer)
        .filter(plan__is_current=True, plan__unit__design=unit.design, kind=step.kind, title=step.title)
        .exclude(plan__unit=unit)
        .select_related("plan__unit")
        .prefetch_related("arrangements")
        .order_by("-pk")[:20]
    )
    steps = list(found)
    holding = holding_steps(steps)
    return [Candidate(one, tuple(_reasons(step, one, one.pk in holding))) for one in steps]


def _reasons(step: Step, source: Step, holds: bool) -> list[str]:
    found = differing_ratings(step, source)
    return found if holds else [*found, "It has no approved run that conforms in every arrangement."]


def differing_ratings(step: Step, source: Step) -> list[str]:
    """Return in words which ratings differ that must be equal before a sister's test is cited."""
    own, other = step.plan.document["ratings"], source.plan.document["ratings"]
    found = []
    for name in step.document.get("evidence", {}).get("must_be_equal", ()):
        if name != "design" and own.get(name) != other.get(name):
            field = FIELDS_BY_NAME[name]
            found.append(f"{field.label}: {_told(own.get(name))} here, {_told(other.get(name))} there.")
    return found


def _told(value: Any) -> str:
    return "not stated" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def still_holds(source: Step) -> bool:
    """Say whether a sister's test has an approved run that conforms in every arrangement."""
    return source.pk in holding_steps([source])


def holding_steps(steps: Iterable[Step]) -> set[int]:
    """Return the keys of the steps whose every arrangement has, as its last run that stands, one that conforms."""
    rows = list(steps)
    wanted = {row.pk: {one.carried_from_id or one.pk for one in row.arrangements.all()} for row in rows}
    every = {key for keys in wanted.values() for key in keys}
    last: dict[int, str] = {}
    for run in Run.objects.filter(arrangement__in=every).standing().order_by("started_at", "pk"):
        last[run.arrangement_id] = run.verdict
    return {
        key
        for key, arrangements in wanted.items()
        if arrangements and all(last.get(one) == Verdict.CONFORMS for one in arrangements)
    }


def evidence_of_plans(plan_keys: Iterable[int]) -> dict[int, Evidence]:
    """Return the citations that still hold, by key of the step that they stand for."""
    found = list(
        Evidence.objects.holding()
        .filter(step__plan__in=list(plan_keys))
        .select_related("source_step__plan__unit", "cited_by")
        .prefetch_related("source_step__arrangements")
    )
    holding = holding_steps(one.source_step for one in found)
    return {one.step_id: one for one in found if one.source_step_id in holding}
