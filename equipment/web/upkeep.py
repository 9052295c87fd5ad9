"""Pages of intervals, drift, fleet reliability and check standards."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from equipment.models import CheckStandard
from equipment.selectors import history
from equipment.selectors.standards import check_picture
from equipment.services import intervals as interval_services
from equipment.services import standards as standard_services
from equipment.services.rights import RIGHTS, has_right
from equipment.web.deeds import carried_out, deed_page
from equipment.web.upkeep_forms import AcknowledgeForm, IntervalForm, ReadingForm, StandardForm
from labsite.ledger.selectors import history_of
from labsite.people.access import refusal, roles_required
from labsite.people.roles import LABORATORY_ROLES

laboratory_only = roles_required(*LABORATORY_ROLES)


@laboratory_only
def intervals(request: HttpRequest) -> HttpResponse:
    """Show the reliability of the fleet, and the proposals of every instrument."""
    page = Paginator(history.with_history(request.user), 25).get_page(request.GET.get("page"))
    since = history.five_years_before(timezone.localdate())
    context = {
        "page_obj": page,
        "rows": [(item, history.proposals(item)) for item in page],
        "fleet": history.fleet_reliability(request.user, since),
        "since": since,
    }
    return render(request, "equipment/intervals.html", context)


@laboratory_only
def interval(request: HttpRequest, pk: int) -> HttpResponse:
    """Show drift and proposals of one instrument; the quality manager decides."""
    item = get_object_or_404(history.with_history(request.user), pk=pk)
    proposed = history.proposals(item)
    series = history.drift_series(item)
    may_decide = has_right("decide_interval", request.user)
    first = next((row for row in proposed if row.months), None)
    initial = {"version": item.version, "months": first.months if first else item.interval_months}
    form = IntervalForm(request.POST or None, methods=[(row.method, row.title) for row in proposed], initial=initial)
    if request.method == "POST" and not may_decide:
        raise refusal(*RIGHTS["decide_interval"])
    if carried_out(
        form,
        lambda: interval_services.decide_interval(instrument=item, **form.cleaned_data, by=request.user),
    ):
        return redirect("equipment:interval", pk)
    context = {
        "instrument": item,
        "proposals": proposed,
        "series": series,
        "plot": history.drift_plot(series) if series else None,
        "decisions": item.interval_decisions.select_related("decided_by"),
        "form": form,
        "may_decide": may_decide,
    }
    return render(request, "equipment/interval.html", context, status=422 if form.errors else 200)


@laboratory_only
def standards(request: HttpRequest) -> HttpResponse:
    """List the check standards with their open alarms."""
    page = Paginator(CheckStandard.objects.visible_to(request.user).for_list(), 50).get_page(request.GET.get("page"))
    rows = [(row, row.readings.all(), [a for a in row.alarms.all() if a.acknowledged_at is None]) for row in page]
    may_enter = has_right("enter_standard", request.user)
    return render(request, "equipment/standards.html", {"page_obj": page, "rows": rows, "may_enter": may_enter})


@roles_required(*RIGHTS["enter_standard"])
def create_standard(request: HttpRequest) -> HttpResponse:
    """Enter a check standard."""
    form = StandardForm(request.POST or None, viewer=request.user)
    return deed_page(
        request,
        form,
        lambda: standard_services.enter_standard(**form.cleaned_data, by=request.user),
        title="Enter a check standard",
        said="The check standard is entered; record its readings from now on.",
        done=("equipment:standards",),
    )


@laboratory_only
def standard(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the control charts of a check standard, and record a reading."""
    row = get_object_or_404(CheckStandard.objects.visible_to(request.user).for_list(), pk=pk)
    form = ReadingForm(request.POST or None)
    if carried_out(form, lambda: standard_services.record_reading(standard=row, **form.cleaned_data, by=request.user)):
        return redirect("equipment:standard", pk)
    context = {
        "picture": check_picture(row),
        "standard": row,
        "form": form,
        "may_acknowledge": has_right("acknowledge_alarm", request.user),
        "entries": history_of("equipment.checkstandard", pk, request.user),
    }
    return render(request, "equipment/standard.html", context, status=422 if form.errors else 200)


@roles_required(*RIGHTS["acknowledge_alarm"])
def acknowledge(request: HttpRequest, pk: int, alarm_pk: int) -> HttpResponse:
    """Record what was found behind an alarm."""
    row = get_object_or_404(CheckStandard.objects.visible_to(request.user), pk=pk)
    alarm = get_object_or_404(row.alarms.all(), pk=alarm_pk)
    form = AcknowledgeForm(request.POST or None)
    return deed_page(
        request,
        form,
        lambda: standard_services.acknowledge_alarm(alarm=alarm, **form.cleaned_data, by=request.user),
        title=alarm.words,
        said="It is recorded what was found.",
        done=("equipment:standard", pk),
        button="Record",
    )
