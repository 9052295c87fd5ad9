"""Certificates: asked for, issued, amended, withdrawn; nothing issued is ever edited."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from labsite.jobs.services import enqueue
from labsite.ledger.services import record_entry, writing
from labsite.people.roles import Role
from labsite.people.services import next_number
from records.certificates.document import build_document, document_digest
from records.certificates.readiness import current_plan, missing_for_certificate, settled_arrangements
from records.models import Certificate, SignOff
from records.services import certificate_states as states
from records.services.lifecycle import require_role, required_text
from records.services.refusals import DigestMoved, Refused
from schedules.models import Unit
from schedules.services.units import note_finished

JOB = "records.compose_certificate"
ISSUE_MEANING = "I have reviewed this certificate and authorise its issue for the laboratory."
WHO = "Certificates are asked for, issued, amended and withdrawn by an approver."
_UNFINISHED = (Certificate.State.COMPOSING, Certificate.State.DRAFT)


class NotReady(Refused):
    """The unit cannot have a certificate yet; `missing` lists what it lacks."""


def request_certificate(*, unit: Unit, by: Any, replaces: Certificate | None = None, reason: str = "") -> Certificate:
    """Freeze what a certificate of the unit will say, under a new number, and have its draft composed.

    Refuses where an arrangement of the plan has no approved run that conforms or was conceded, where a draft is open
    already, and where a certificate is issued that this one does not amend.
    """
    require_role(by, Role.APPROVER, words=WHO)
    with writing():
        unit = Unit.objects.select_for_update(of=("self",)).select_related("order__customer").get(pk=unit.pk)
        _refuse_second(unit, replaces)
        _refuse_unready(unit)
        certificate = _freeze(unit, replaces, reason, by)
        changes = {"number": [None, certificate.number], "document_digest": [None, certificate.document_digest]}
        record_entry(action="certificate.request", subject=certificate, changes=changes, reason=reason, by=by)
        _compose_later(certificate, "draft", by)
    return certificate


def _refuse_second(unit: Unit, replaces: Certificate | None) -> None:
    for other in unit.certificates.filter(state__in=(*_UNFINISHED, Certificate.State.ISSUED)):
        if other.state in _UNFINISHED:
            raise NotReady(f"The draft {other.number} is open already. Issue it or withdraw it; nothing was changed.")
        if replaces is None or other.pk != replaces.pk:
            raise NotReady(f"{other.number} is issued for this unit. Amend it instead; nothing was changed.")


def _refuse_unready(unit: Unit) -> None:
    if missing := missing_for_certificate(unit):
        raise NotReady("The unit is not ready for a certificate: " + " ".join(missing), missing)


def _freeze(unit: Unit, replaces: Certificate | None, reason: str, by: Any) -> Certificate:
    plan = current_plan(unit)
    if plan is None:
        raise NotReady("The unit has no plan yet.")
    number = next_number("certificate", timezone.localdate().year)
    document = build_document(
        number=number, unit=unit, plan=plan, settled=settled_arrangements(plan), replaces=replaces, reason=reason
    )
    return Certificate.objects.create(
        number=number,
        unit=unit,
        document=document,
        document_digest=document_digest(document),
        replaces=replaces,
        reason=reason,
        requested_by=by,
    )


def _compose_later(certificate: Certificate, form: str, by: Any) -> None:
    key = composition_key(certificate, form)
    enqueue(name=JOB, args={"certificate_id": certificate.pk, "form": form}, key=key, by=by)


def composition_key(certificate: Certificate, form: str) -> str:
    """Return the key of the job that composes the `draft` or the `final` form."""
    return f"certificate:{certificate.pk}:{form}"


def issue_certificate(*, certificate: Certificate, digest: str, by: Any) -> Certificate:
    """Sign a draft over its content and issue it; its final form is composed afterwards, without the draft mark.

    The caller has confirmed the signer's password. What it replaces is superseded in the same transaction. Refuses a
    digest that is not the one shown, and a unit that meanwhile lacks something.
    """
    require_role(by, Role.APPROVER, words=WHO)
    with writing():
        held = states.locked(certificate)
        states.require(held, "issue")
        if digest != held.document_digest or digest != document_digest(held.document):
            raise DigestMoved(
                f"What you saw of {held.number} is not what you would sign. Nothing was signed. Look again."
            )
        _refuse_unready(held.unit)
        now = timezone.now()
        SignOff.objects.create(
            certificate=held,
            capacity=SignOff.Capacity.APPROVER,
            meaning=ISSUE_MEANING,
            user=by,
            printed_name=by.name,
            digest=digest,
            signed_at=now,
        )
        note_finished(unit=held.unit, is_finished=True, by=by)
        states.move(held, "issue", changes={"issued_by": by, "issued_at": now}, reason=held.reason, by=by)
        if held.replaces is not None:
            words = f"Replaced by {held.number}: {held.reason}"
            states.move(states.locked(held.replaces), "supersede", reason=words, by=by)
        _compose_later(held, "final", by)
    return held


def amend_certificate(*, certificate: Certificate, reason: str, by: Any) -> Certificate:
    """Return the draft, under a new number, that will replace an issued certificate; refuses without a reason."""
    require_role(by, Role.APPROVER, words=WHO)
    words = required_text(reason, "Say what changes and why: the amendment prints it. Nothing was changed.")
    with writing():
        held = states.locked(certificate)
        states.require(held, "amend")
        return request_certificate(unit=held.unit, replaces=held, reason=words, by=by)


def withdraw_certificate(*, certificate: Certificate, reason: str, by: Any) -> Certificate:
    """End a draft or an issued certificate for good, with the reason; its file stays as it is."""
    require_role(by, Role.APPROVER, words=WHO)
    words = required_text(reason, "Say why the certificate is withdrawn: whoever asks is told. Nothing was changed.")
    with writing():
        held = states.locked(certificate)
        told: dict[str, Any] = {"withdrawn_by": by, "withdrawn_at": timezone.now(), "withdrawal_reason": words}
        if held.issued_at is None and held.replaces is not None:
            told["replaces"] = None  # another amendment may take the place of one that was never issued
        if held.issued_at is not None:
            note_finished(unit=held.unit, is_finished=False, by=by)
        states.move(held, "withdraw", changes=told, reason=words, by=by)
    return held


def keep_composition(*, certificate: Certificate, form: str, path: str, sha256: str, by: Any) -> None:
    """Note where a composed form lies; a repeat, and a draft that was withdrawn meanwhile, change nothing."""
    with writing():
        held = states.locked(certificate)
        if form == "draft" and states.is_open_to(held, "compose_draft"):
            states.move(held, "compose_draft", changes={"draft_path": path}, by=by)
        elif form == "final" and held.issued_at is not None and not held.path:
            states.keep(held, "certificate.seal", {"path": path, "sha256": sha256}, "", by)
