"""Signatures on a run: the tester's, the approver's and the request for a repeat."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.utils import timezone

from labsite.ledger.services import record_entry, writing
from labsite.people.roles import Role
from records.models import Run, SignOff
from records.selectors.digests import run_digest
from records.services import lifecycle
from records.services.nonconformances import close_by, open_for
from records.services.refusals import DigestMoved, NotAuthorised
from schedules.selectors import authorised

TESTER_MEANING = "I performed this test as the run sheet says, and the record is the one that the instruments made."
APPROVER_MEANING = "I have reviewed set-up, record and findings of this test, and approve the verdict."

__all__ = ["APPROVER_MEANING", "TESTER_MEANING", "approve_run", "ask_for_repeat", "run_digest", "sign_run_as_tester"]


def sign_run_as_tester(*, run: Run, digest: str, by: Any) -> SignOff:
    """Sign a judged run as the one who performed it; refuses anybody else and a digest that has moved."""
    with writing():
        held = lifecycle.locked(run)
        lifecycle.require(held, "sign")
        if by.pk != held.operator_id:
            raise PermissionDenied(f"Run {held.number} is signed by its operator, {held.operator}.")
        return _sign(held, "sign", SignOff.Capacity.TESTER, TESTER_MEANING, digest, by)


def approve_run(*, run: Run, digest: str, by: Any) -> SignOff:
    """Approve a signed run.

    The approver holds an authorisation for the kind and took no part in the run. A unit that does not conform opens a
    nonconformance; one that conforms closes those it was retested for.
    """
    with writing():
        held = lifecycle.locked(run)
        lifecycle.require(held, "approve")
        require_approver(held, by)
        sign_off = _sign(held, "approve", SignOff.Capacity.APPROVER, APPROVER_MEANING, digest, by)
        open_for(run=held, by=by)
        close_by(run=held, by=by)
        return sign_off


def require_approver(run: Run, by: Any) -> None:
    """Raise where the person may not review this run: role, no part in it, authorised today."""
    lifecycle.require_role(by, Role.APPROVER, words="Only an approver may review a run.")
    if by.pk in (run.operator_id, run.second_person_id):
        raise PermissionDenied(f"{by} took part in run {run.number}; another approver must review it.")
    answer = authorised(by, run.step.kind, "approve", timezone.localdate())
    if not answer.is_authorised:
        raise NotAuthorised(f"{answer.reason} Ask the quality manager for it, or let another approver review the run.")


def ask_for_repeat(*, run: Run, reason: str, by: Any) -> Run:
    """Send a signed run back: it is abandoned with the reason, and the arrangement is open for another run."""
    words = lifecycle.required_text(reason, "Say why the test must be repeated; nothing was changed.")
    with writing():
        held = lifecycle.locked(run)
        lifecycle.require(held, "ask_for_repeat")
        require_approver(held, by)
        told = {"abandon_reason": f"Repeat asked by {by}: {words}"}
        lifecycle.move(held, "ask_for_repeat", changes=told, reason=words, by=by)
        return held


def _sign(run: Run, deed: str, capacity: Any, meaning: str, digest: str, by: Any) -> SignOff:
    if digest != run_digest(run):
        raise DigestMoved(
            f"Run {run.number} was changed after this page was opened; what you saw is not what you would sign. "
            "Nothing was signed. Look at it again."
        )
    sign_off = SignOff.objects.create(
        run=run,
        capacity=capacity,
        meaning=meaning,
        user=by,
        printed_name=str(by),
        digest=digest,
        signed_at=timezone.now(),
    )
    told = {"capacity": [None, capacity], "meaning": [None, meaning], "digest": [None, digest]}
    record_entry(action="run.sign_off", subject=run, changes=told, by=by)
    lifecycle.move(run, deed, by=by)
    return sign_off
