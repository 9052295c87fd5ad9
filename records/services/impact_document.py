"""The document for the file of nonconforming work: gathered, set as PDF, stored under its digest."""

from __future__ import annotations

import hashlib
import io

from django.template.loader import render_to_string
from django.utils import timezone

from labsite.jobs.services import Progress
from labsite.ledger.services import record_entry
from labsite.people.models import Laboratory
from records.certificates.composition import require_library, typeset
from records.models import NonconformingWork
from records.selectors.impact import affected_runs, as_shown, effect_counts, letters_of
from records.services.storing import keep_stream

STAGES = ("Gathering", "Typesetting", "Storing")


def compose_document(progress: Progress, work_id: int) -> None:
    """Set the document as things stand now and note where it lies; an earlier one stays in the store."""
    require_library()
    progress.stage("Gathering", 10)
    work = NonconformingWork.objects.for_list().get(pk=work_id)
    html = document_html(work)
    progress.stage("Typesetting", 50)
    pdf = typeset(html, hashlib.sha256(html.encode()).hexdigest())
    progress.stage("Storing", 90)
    stored = keep_stream(io.BytesIO(pdf), f"nonconforming work {work.pk}")
    with progress.completing():
        NonconformingWork.objects.filter(pk=work.pk).update(document_path=stored.path, document_sha256=stored.sha256)
        told = {"sha256": [work.document_sha256, stored.sha256]}
        record_entry(action="impact.compose", subject=work, changes=told, by=work.opened_by)


def document_html(work: NonconformingWork) -> str:
    """Return the document as a page for the typesetter."""
    context = {
        "work": work,
        "laboratory": Laboratory.objects.first(),
        "counts": effect_counts(work),
        "rows": as_shown(list(affected_runs(work).prefetch_related("findings__finding"))),
        "letters": letters_of(work),
        "made_at": timezone.now(),
    }
    return render_to_string("impact/document.html", context)
