"""Evidence: a type test of a sister of the same design, cited in place of testing this unit."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from labsite.ledger.services import change_fields, create_with_entry, writing
from labsite.people.roles import Role
from records.selectors.evidence import differing_ratings, still_holds
from records.services.lifecycle import require_role
from records.services.refusals import Refused, ValueRefused
from schedules.models import Evidence, Step

WHO = "Evidence is cited by an approver."


def cite_evidence(*, step: Step, source_step: Step, reason: str, by: Any) -> Evidence:
    """Cite a sister's type test for a step; nothing of it is tested on this unit then.

    Refuses a step that is no type test, another kind of test, the unit itself, another or no design, ratings of which
    one differs that must be equal, a sister whose test does not stand any more, an empty reason, and a second citation.
    """
    require_role(by, Role.APPROVER, words=WHO)
    if not reason.strip():
        raise ValueRefused("Say why the sister's test speaks for this unit.")
    with writing():
        row = Step.objects.select_related("plan__unit").select_for_update(of=("self",)).get(pk=step.pk)
        source = Step.objects.select_related("plan__unit").get(pk=source_step.pk)
        _check(row, source)
        evidence = Evidence(step=row, source_step=source, reason=reason.strip(), cited_by=by)
        return create_with_entry(instance=evidence, action="evidence.cited", reason=evidence.reason, by=by)


def drop_evidence(*, evidence: Evidence, reason: str, by: Any) -> None:
    """Drop a citation with a reason: the step is tested on this unit again."""
    require_role(by, Role.APPROVER, words=WHO)
    if not reason.strip():
        raise ValueRefused("Say why the evidence is dropped.")
    with writing():
        row = Evidence.objects.select_for_update().get(pk=evidence.pk)
        if row.dropped_at is not None:
            raise Refused("This evidence was dropped already.")
        changes = {"dropped_by": by, "dropped_at": timezone.now(), "drop_reason": reason.strip()}
        change_fields(
            instance=row, version=row.version, changes=changes, action="evidence.dropped", reason=reason.strip(), by=by
        )


def _check(step: Step, source: Step) -> None:
    unit, sister = step.plan.unit, source.plan.unit
    if "evidence" not in step.document:
        raise Refused(f"{step.title} is no type test; it is made on each unit.")
    if not step.plan.is_current:
        raise Refused("This step belongs to an older revision of the plan.")
    if sister.pk == unit.pk or (source.kind, source.title) != (step.kind, step.title):
        raise Refused(f"{source.title} of {sister} is not the same test of a sister.")
    if not unit.design or unit.design != sister.design:
        raise Refused(
            f"{unit} is of design “{unit.design or 'not stated'}”, {sister} of “{sister.design or 'not stated'}”. "
            "Only a sister of the same design speaks for a unit."
        )
    differing = differing_ratings(step, source)
    if differing:
        raise Refused(f"What must be equal is not: {' '.join(differing)}")
    if not still_holds(source):
        raise Refused(f"{source.title} of {sister} has no approved run that conforms in every arrangement.")
    if Evidence.objects.holding().filter(step=step).exists():
        raise Refused(f"{step.title} cites evidence already. Drop that first.")
