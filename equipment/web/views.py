"""Pages that show instruments."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from equipment.models import Instrument
from equipment.selectors import board_row
from equipment.selectors.accuracy import told_calibrations, waiting_drafts
from equipment.services.rights import has_right
from labsite.ledger.selectors import history_of
from labsite.people.access import roles_required
from labsite.people.roles import LABORATORY_ROLES

laboratory_only = roles_required(*LABORATORY_ROLES)


@laboratory_only
def detail(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one instrument with its calibrations and the systems it belongs to."""
    instrument = get_object_or_404(Instrument.objects.visible_to(request.user).for_detail(), pk=pk)
    context = {
        "instrument": instrument,
        "row": board_row(instrument, timezone.localdate()),
        "calibrations": told_calibrations(instrument),
        "waiting": waiting_drafts(instrument),
        "may_edit": has_right("edit_instrument", request.user),
    }
    return render(request, "equipment/detail.html", context)


@laboratory_only
def history(request: HttpRequest, pk: int) -> HttpResponse:
    """Show everything that was done to one instrument."""
    instrument = get_object_or_404(Instrument.objects.visible_to(request.user), pk=pk)
    entries = history_of("equipment.instrument", instrument.pk, request.user)
    return render(request, "equipment/history.html", {"instrument": instrument, "entries": entries})
