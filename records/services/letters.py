"""The words of a letter to a customer whose results a wrong instrument touches: a draft, never sent by the site."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.template.loader import render_to_string

from records.models import NonconformingWork
from records.selectors.impact import Affected


def letter_text(work: NonconformingWork, customer: Any, rows: Sequence[Affected], laboratory: Any) -> str:
    """Return the draft of a letter that names the customer's own units and certificates and nobody else's."""
    context = {"work": work, "customer": customer, "rows": rows, "laboratory": laboratory}
    return render_to_string("impact/letter.txt", context).strip() + "\n"
