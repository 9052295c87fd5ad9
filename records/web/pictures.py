"""What the run sheet and the review show of a record: its picture, one file of several, and the pattern of pulses."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from records.charts import described, pattern_words, pictured_files
from records.models import Evaluation, Record, Run
from records.selectors.gates import DISCHARGE


def picture_context(request: HttpRequest, run: Run, evaluation: Evaluation | None) -> dict[str, Any]:
    """Return words and address of the picture; of several files side by side that which `picture` asks for."""
    if evaluation is None:
        return {"picture_words": "", "pattern_words": ""}
    files = pictured_files(evaluation)
    shown = chosen_file(files, request.GET.get("picture")) or (evaluation.record if files else None)
    address = reverse("records:figure", args=[run.pk])
    return {
        "picture_words": described(evaluation, shown),
        "figure_url": f"{address}?picture={shown.pk}" if shown else address,
        "pictured_files": files,
        "shown_file": shown,
        "has_charge": run.step.kind == DISCHARGE,
        "pattern_words": pattern_words(evaluation),
    }


def chosen_file(files: list[Record], asked: str | None) -> Record | None:
    """Return the file that the address asks for, or None where it asks for none of these."""
    return next((record for record in files if str(record.pk) == asked), None)
