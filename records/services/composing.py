"""Carries out the composition of a certificate: gather, draw, set, seal."""

from __future__ import annotations

import io
from typing import Any

from labsite.jobs.services import JobRefused, Progress
from labsite.ledger.canonical import instant
from records.certificates.composition import compose, require_library
from records.certificates.document import document_digest
from records.certificates.pictures import pictures_of
from records.models import Certificate
from records.services.certificates import keep_composition
from records.services.storing import keep_stream

STAGES = ("Gathering", "Drawing", "Typesetting", "Sealing")


def compose_form(progress: Progress, certificate_id: int, form: str) -> None:
    """Set the `draft` or `final` form of a certificate, store it under its digest, and note where it lies.

    The same content gives the same bytes, so that a second worker stores nothing new.
    """
    require_library()
    progress.stage("Gathering", 10)
    certificate = _fetch(certificate_id)
    issue = _issue(certificate) if form == "final" else None
    progress.stage("Drawing", 30)
    pictures = pictures_of(certificate.document)
    progress.stage("Typesetting", 55)
    pdf = compose(document=certificate.document, digest=certificate.document_digest, issue=issue, pictures=pictures)
    progress.stage("Sealing", 90)
    stored = keep_stream(io.BytesIO(pdf), certificate.number)
    with progress.completing():
        keep_composition(
            certificate=certificate, form=form, path=stored.path, sha256=stored.sha256, by=certificate.requested_by
        )


def _fetch(certificate_id: int) -> Certificate:
    certificate = (
        Certificate.objects.select_related("requested_by").prefetch_related("sign_offs").get(pk=certificate_id)
    )
    if document_digest(certificate.document) != certificate.document_digest:
        raise JobRefused(
            f"The stored content of {certificate.number} does not fit its digest: it was altered outside the site. "
            "Nothing was composed. Tell the quality manager; the ledger shows what was done."
        )
    return certificate


def _issue(certificate: Certificate) -> dict[str, Any]:
    row = next(iter(certificate.sign_offs.all()), None)
    if row is None:
        raise JobRefused(f"{certificate.number} was not signed, so there is no final form of it.")
    return {
        "printed_name": row.printed_name,
        "capacity": row.get_capacity_display(),
        "meaning": row.meaning,
        "signed_at": instant(row.signed_at),
        "digest": row.digest,
    }
