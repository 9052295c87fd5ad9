"""Hands out stored files: always as attachments, under a name that tells what the file is."""

from __future__ import annotations

from django.http import FileResponse, Http404

from records.models import Certificate, NonconformingWork, Record
from records.services.storing import absolute

_MARKS = {Certificate.State.SUPERSEDED: "-replaced", Certificate.State.WITHDRAWN: "-withdrawn"}


def certificate_file(certificate: Certificate) -> FileResponse:
    """Return the final form; the name marks one that is no longer valid, its bytes stay as they were signed."""
    mark = _MARKS.get(Certificate.State(certificate.state), "")
    return _attachment(certificate.path, f"{certificate.number}{mark}.pdf", "application/pdf", certificate.sha256)


def draft_file(certificate: Certificate) -> FileResponse:
    """Return the draft form, which carries its mark on every page."""
    digest = certificate.draft_path.rsplit("/", 1)[-1]
    return _attachment(certificate.draft_path, f"{certificate.number}-draft.pdf", "application/pdf", digest)


def record_file(record: Record) -> FileResponse:
    """Return a record byte for byte as it was uploaded, under the name that it was given."""
    return _attachment(record.path, record.given_name, "application/octet-stream", record.sha256)


def impact_file(work: NonconformingWork) -> FileResponse:
    """Return the document for the file of nonconforming work, as it was last composed."""
    name = f"nonconforming-work-{work.pk}.pdf"
    return _attachment(work.document_path, name, "application/pdf", work.document_sha256)


def _attachment(path: str, name: str, content_type: str, digest: str) -> FileResponse:
    place = absolute(path)
    if not path or not place.is_file():
        raise Http404("This file is not stored yet.")
    response = FileResponse(place.open("rb"), as_attachment=True, filename=name, content_type=content_type)
    response["ETag"] = f'"{digest}"'
    response["X-Content-Type-Options"] = "nosniff"
    return response
