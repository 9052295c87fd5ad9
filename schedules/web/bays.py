"""The page of bays."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from labsite.ledger.selectors import history_of
from schedules.models import Bay
from schedules.services.bays import correct_bay, enter_bay
from schedules.services.refusals import ScheduleRefused
from schedules.services.rights import deeds_of, require
from schedules.web.access import laboratory_or_administrator, sent
from schedules.web.forms import BayEditForm, BayForm


@laboratory_or_administrator
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct a bay, and show its history."""
    require(request.user, "correct_bay")
    found = get_object_or_404(Bay.objects.visible_to(request.user), pk=pk)
    form = BayEditForm.of(found, sent(request))
    if form.is_valid():
        try:
            correct_bay(bay=found, **form.edit(), by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"The bay {found.name} is corrected.")
            return redirect("schedules:bays")
    entries = history_of("schedules.bay", found.pk, request.user)
    return render(request, "schedules/bay_form.html", {"form": form, "bay": found, "entries": entries})


@laboratory_or_administrator
def bays(request: HttpRequest) -> HttpResponse:
    """List the bays and enter another."""
    form = BayForm(sent(request))
    if form.is_valid():
        try:
            made = enter_bay(**form.cleaned_data, by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"The bay {made.name} is entered.")
            return redirect("schedules:bays")
    context = {"form": form, "bays": Bay.objects.visible_to(request.user), "rights": deeds_of(request.user)}
    return render(request, "schedules/bays.html", context)
