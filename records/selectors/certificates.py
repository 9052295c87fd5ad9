"""What pages show of certificates beside the row itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet

from labsite.jobs.models import Job, JobState
from records.models import Certificate

NO_LONGER_VALID = (Certificate.State.SUPERSEDED, Certificate.State.WITHDRAWN)
TONES = {
    Certificate.State.COMPOSING: "active",
    Certificate.State.DRAFT: "active",
    Certificate.State.ISSUED: "ok",
    Certificate.State.SUPERSEDED: "warn",
    Certificate.State.WITHDRAWN: "void",
}


@dataclass(frozen=True)
class CertificateRow:
    """A certificate with its state in words and tone, and whether it may be relied on."""

    certificate: Certificate
    words: str
    tone: str
    is_valid: bool
    replaced_by: str


def certificate_row(certificate: Certificate) -> CertificateRow:
    """Return the certificate as lists and pages show it."""
    state = Certificate.State(certificate.state)
    successor = getattr(certificate, "replaced_by", None)
    number = successor.number if successor is not None and state == Certificate.State.SUPERSEDED else ""
    words = f"Replaced by {number}, no longer valid" if number else certificate.get_state_display()
    if state == Certificate.State.WITHDRAWN:
        words = "Withdrawn, no longer valid" if certificate.issued_at else "Withdrawn before issue"
    return CertificateRow(certificate, words, TONES[state], state == Certificate.State.ISSUED, number)


def find_certificates(viewer: Any, query: str = "") -> QuerySet[Certificate]:
    """Return what the viewer may see whose number, serial, order or customer holds the text."""
    rows = Certificate.objects.visible_to(viewer).for_list().select_related("replaced_by")
    words = query.strip()
    if not words:
        return rows
    return rows.filter(
        Q(number__icontains=words)
        | Q(unit__serial__icontains=words)
        | Q(unit__order__number__icontains=words)
        | Q(unit__order__customer__name__icontains=words)
    )


def unfinished_composition(certificate: Certificate) -> Job | None:
    """Return the job that still composes a form of the certificate, or that failed; None when both lie there."""
    keys = [f"certificate:{certificate.pk}:{form}" for form in ("draft", "final")]
    return Job.objects.filter(key__in=keys).exclude(state=JobState.DONE).order_by("-created_at").first()


def certificate_in_public(number: str) -> Certificate | None:
    """Return the certificate of a number that was issued once, whatever became of it; drafts are not known outside."""
    return Certificate.objects.filter(number=number.strip(), issued_at__isnull=False).first()
