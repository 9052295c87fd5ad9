"""Pages for the auditor, and the history of scale factors of a bay."""

from __future__ import annotations

from datetime import timedelta

from django import forms
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from records.selectors.audit import audit as audit_of
from records.selectors.scales import scale_history
from records.web.access import laboratory_only
from schedules.models import Bay

MOST_UNDECIDED, MOST_ENDED = 100, 200


class SpanForm(forms.Form):
    """The days that are looked at."""

    since = forms.DateField(required=False)
    until = forms.DateField(required=False)


@require_GET
@laboratory_only
def audit(request: HttpRequest) -> HttpResponse:
    """Show gaps in cover, overrides, calibrations that ended during an order, and corrections nobody decided about."""
    form = SpanForm(request.GET)
    form.is_valid()
    today = timezone.localdate()
    until = form.cleaned_data.get("until") or today
    since = form.cleaned_data.get("since") or until - timedelta(days=730)
    found = audit_of(request.user, since, until)
    context = {
        "audit": found,
        "overrides": Paginator(found.overrides, 50).get_page(request.GET.get("page")),
        "ended": found.ended[:MOST_ENDED],
        "undecided": found.undecided[:MOST_UNDECIDED],
        "most_undecided": MOST_UNDECIDED,
        "most_ended": MOST_ENDED,
    }
    return render(request, "records/audit.html", context)


@require_GET
@laboratory_only
def scales(request: HttpRequest, pk: int) -> HttpResponse:
    """Show scale factor and noise of a bay's set-ups over time."""
    bay = get_object_or_404(Bay.objects.visible_to(request.user), pk=pk)
    context = {"history": scale_history(request.user, bay), "bays": Bay.objects.visible_to(request.user)}
    return render(request, "records/scales.html", context)
