"""Today, results of a unit, nonconformances, uses of instruments, and the search."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET

from equipment.models import Instrument
from labsite.ledger.selectors import history_of
from records.models import Nonconformance
from records.selectors import progress, searching, uses, work
from records.services.nonconformances import decide_nonconformance
from records.services.refusals import Refused
from records.web import forms
from records.web.access import deciders_only, laboratory_only, quality_manager_only
from schedules.models import Unit

PAGE_SIZE = 50


@require_GET
@laboratory_only
def today(request: HttpRequest) -> HttpResponse:
    """Show what this person should do next."""
    return render(request, "records/today.html", {"lists": work.today(request.user)})


@require_GET
@laboratory_only
def unit_results(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the runs of one unit, step by step."""
    unit = get_object_or_404(Unit.objects.visible_to(request.user).for_list(), pk=pk)
    return render(request, "records/unit_results.html", {"unit": unit, "status": progress.unit_status(unit)})


@require_GET
@deciders_only
def nonconformances(request: HttpRequest) -> HttpResponse:
    """List the nonconformances."""
    found = Nonconformance.objects.visible_to(request.user).for_list()
    page = Paginator(found, PAGE_SIZE).get_page(request.GET.get("page"))
    return render(request, "records/nonconformances.html", {"page_obj": page})


@laboratory_only
def nonconformance(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a nonconformance, and decide it."""
    found = get_object_or_404(Nonconformance.objects.visible_to(request.user).for_page(), pk=pk)
    form = forms.DispositionForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            decide_nonconformance(nonconformance=found, **form.cleaned_data, by=request.user)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, "The decision is recorded.")
            return redirect("records:nonconformance", found.pk)
    context = {
        "nonconformance": found,
        "form": form,
        "entries": history_of("records.nonconformance", found.pk, request.user),
    }
    return render(request, "records/nonconformance.html", context, status=422 if form.errors else 200)


@require_GET
@laboratory_only
def instrument_uses(request: HttpRequest, pk: int) -> HttpResponse:
    """Show every run that used an instrument."""
    instrument = get_object_or_404(Instrument.objects.visible_to(request.user), pk=pk)
    page = Paginator(uses.instrument_uses(request.user, instrument), PAGE_SIZE).get_page(request.GET.get("page"))
    return render(request, "records/uses.html", {"instrument": instrument, "page_obj": page})


@require_GET
@quality_manager_only
def overrides(request: HttpRequest) -> HttpResponse:
    """Show every run that used an overdue instrument by override."""
    page = Paginator(uses.overridden_uses(request.user), PAGE_SIZE).get_page(request.GET.get("page"))
    return render(request, "records/uses.html", {"instrument": None, "page_obj": page})


@require_GET
@laboratory_only
def search(request: HttpRequest) -> HttpResponse:
    """Find a serial, an order, a unit, a run, a certificate or an instrument."""
    return render(request, "records/search.html", {"found": searching.find(request.user, request.GET.get("q", ""))})
