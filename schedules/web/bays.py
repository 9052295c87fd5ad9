"""The page of bays."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from schedules.models import Bay
from schedules.services.bays import enter_bay
from schedules.services.refusals import ScheduleRefused
from schedules.services.rights import deeds_of
from schedules.web.access import laboratory_or_administrator, sent
from schedules.web.forms import BayForm


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
