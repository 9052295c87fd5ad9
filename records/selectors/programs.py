"""What programs ask for in lists."""

from __future__ import annotations

from typing import Any

from records.models import Run
from records.models.run import RunQuerySet


def find_runs(viewer: Any, *, unit: str = "", state: str = "") -> RunQuerySet:
    """Return the runs that the viewer may see, of one unit or in one state where asked; an odd number finds nothing."""
    found = Run.objects.visible_to(viewer)
    if unit:
        found = found.filter(step__plan__unit=int(unit)) if unit.isascii() and unit.isdigit() else found.none()
    return found.filter(state=state) if state else found
