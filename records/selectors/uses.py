"""Which runs used an instrument, and which used one that was overdue."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet

from equipment.models import Instrument
from records.models import Run, RunInstrument


def _uses(viewer: Any) -> QuerySet[RunInstrument]:
    rows = RunInstrument.objects.filter(run__in=Run.objects.visible_to(viewer))
    return rows.select_related(
        "run__step__plan__unit__order__customer",
        "run__arrangement",
        "instrument",
        "calibration",
        "system",
        "overridden_by",
    ).order_by("-run__started_at", "-pk")


def instrument_uses(viewer: Any, instrument: Instrument) -> QuerySet[RunInstrument]:
    """Return every use of an instrument in a run that the viewer may see, newest first: every unit it passed."""
    return _uses(viewer).filter(instrument=instrument)


def overridden_uses(viewer: Any) -> QuerySet[RunInstrument]:
    """Return every use of an instrument by override, newest first."""
    return _uses(viewer).filter(overridden_by__isnull=False)
