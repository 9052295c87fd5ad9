"""Pages of authorisations: who may perform or approve which kind of test."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from labsite.ledger.selectors import history_of
from schedules.models import Authorisation
from schedules.rules import STEP_KINDS
from schedules.services.authorisations import correct_authorisation, end_authorisation, grant_authorisation
from schedules.services.refusals import ScheduleRefused
from schedules.services.rights import deeds_of, require
from schedules.web.access import laboratory_or_administrator, sent
from schedules.web.forms import AuthorisationEditForm, AuthorisationForm, EndingForm

PAGE_SIZE = 50


@laboratory_or_administrator
def authorisations(request: HttpRequest) -> HttpResponse:
    """List the authorisations, with a search by person."""
    sought = request.GET.get("q", "").strip()
    found = Authorisation.objects.visible_to(request.user).for_list().matching(sought)
    context = {
        "page_obj": Paginator(found, PAGE_SIZE).get_page(request.GET.get("page")),
        "sought": sought,
        "rights": deeds_of(request.user),
        "today": timezone.localdate(),
        "kinds": STEP_KINDS,
    }
    return render(request, "schedules/authorisations.html", context)


@laboratory_or_administrator
def grant(request: HttpRequest) -> HttpResponse:
    """Grant an authorisation."""
    require(request.user, "grant_authorisation")
    form = AuthorisationForm(sent(request), viewer=request.user)
    if form.is_valid():
        try:
            made = grant_authorisation(**form.cleaned_data, by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"{made.user.name} is authorised.")
            return redirect("schedules:authorisations")
    return render(request, "schedules/authorisation_form.html", {"form": form})


@laboratory_or_administrator
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """End an authorisation, and show its history."""
    require(request.user, "end_authorisation")
    found = get_object_or_404(Authorisation.objects.visible_to(request.user).for_list(), pk=pk)
    form = EndingForm(sent(request))
    if form.is_valid():
        try:
            end_authorisation(authorisation=found, **form.cleaned_data, by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"The authorisation of {found.user.name} ends then.")
            return redirect("schedules:authorisations")
    entries = history_of("schedules.authorisation", found.pk, request.user)
    return render(
        request, "schedules/authorisation_form.html", {"form": form, "authorisation": found, "entries": entries}
    )


@laboratory_or_administrator
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Put right an authorisation that was entered wrongly."""
    require(request.user, "correct_authorisation")
    found = get_object_or_404(Authorisation.objects.visible_to(request.user).for_list(), pk=pk)
    form = AuthorisationEditForm.of(found, sent(request))
    if form.is_valid():
        try:
            correct_authorisation(authorisation=found, **form.edit(), by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"The authorisation of {found.user.name} is corrected.")
            return redirect("schedules:authorisations")
    context = {"form": form, "authorisation": found, "is_correction": True}
    return render(request, "schedules/authorisation_form.html", context)
