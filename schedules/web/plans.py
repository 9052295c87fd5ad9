"""Pages of plans: reading a proposal, adopting it, releasing a hold point."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from schedules.models import Bay, Plan, Step, Unit
from schedules.selectors import bay_fitness, fitness_of_document, proposal_of, sheets_of_document, sheets_of_plan
from schedules.selectors.circuits import Circuit, circuits_of_document
from schedules.selectors.packs import unconfirmed_rows, warnings_besides_rows
from schedules.selectors.revisions import differences_to, lines_of, revision_change
from schedules.services.plans import adopt_plan, release_hold_point
from schedules.services.refusals import ScheduleRefused
from schedules.services.reviews import review_step
from schedules.services.rights import deeds_of, require
from schedules.web.access import laboratory_only, sent
from schedules.web.forms import AdoptForm, ReasonForm, ReviewForm


@laboratory_only
def plan(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the plan that follows now, and adopt it."""
    unit = get_object_or_404(Unit.objects.visible_to(request.user).for_detail(), pk=pk)
    proposal = proposal_of(order=unit.order, equipment=unit.equipment, ratings=unit.ratings)
    form = AdoptForm(sent(request), initial={"expected_digest": proposal.digest})
    if form.is_valid():
        try:
            made = adopt_plan(unit=unit, **form.cleaned_data, by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"Plan {made.revision} of {unit.serial} is adopted. Runs can be started.")
            return redirect("schedules:unit", unit.pk)
    unconfirmed = unconfirmed_rows(proposal.document) if proposal.document else None
    steps = sheets_of_document(proposal.document, unconfirmed.places) if proposal.document and unconfirmed else []
    bays = Bay.objects.visible_to(request.user)
    fitness = fitness_of_document(proposal.document, bays) if proposal.document else []
    context = {"form": form, "unit": unit, "proposal": proposal, "steps": steps, "rights": deeds_of(request.user)}
    context |= {"fitness": fitness, "unconfirmed": unconfirmed, "document": proposal.document}
    context |= {"warnings": warnings_besides_rows(proposal.document) if proposal.document else []}
    context |= {"differences": differences_to(unit, proposal.document)}
    context |= {"circuits": _circuits(request, proposal.document) if proposal.document else []}
    return render(request, "schedules/plan.html", context)


def _circuits(request: HttpRequest, document: dict[str, Any]) -> list[Circuit]:
    return circuits_of_document(document, request.user, timezone.localdate())


@laboratory_only
def revision(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one revision of a plan as it was adopted, and which bay can run which step."""
    found = get_object_or_404(Plan.objects.visible_to(request.user).for_detail(), pk=pk)
    fitness = bay_fitness(found, Bay.objects.visible_to(request.user))
    unconfirmed = unconfirmed_rows(found.document)
    steps = sheets_of_plan(found, unconfirmed.places)
    context = {"plan": found, "unit": found.unit, "steps": steps, "fitness": fitness}
    context |= {"unconfirmed": unconfirmed, "document": found.document, "rights": deeds_of(request.user)}
    context |= {"change": revision_change(found), "warnings": warnings_besides_rows(found.document)}
    context |= {"circuits": _circuits(request, found.document)}
    return render(request, "schedules/revision.html", context)


@laboratory_only
def release(request: HttpRequest, pk: int) -> HttpResponse:
    """Release a hold point."""
    step = get_object_or_404(Step.objects.visible_to(request.user).select_related("plan__unit"), pk=pk)
    require(request.user, "release_hold_point")
    form = ReasonForm(sent(request))
    if form.is_valid():
        try:
            release_hold_point(step=step, reason=form.cleaned_data["reason"], by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"{step.title} is released.")
            return redirect("schedules:unit", step.plan.unit_id)
    return render(request, "schedules/release.html", {"form": form, "step": step, "unit": step.plan.unit})


@laboratory_only
def review_of_step(request: HttpRequest, pk: int) -> HttpResponse:
    """Decide whether the runs that the revision before made of a step stand."""
    step = get_object_or_404(Step.objects.visible_to(request.user).select_related("plan__unit"), pk=pk)
    require(request.user, "review_revision")
    form = ReviewForm(sent(request))
    if form.is_valid():
        try:
            review_step(step=step, **form.cleaned_data, by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"{step.title} is reviewed.")
            return redirect("schedules:revision", step.plan_id)
    line = next((one for one in lines_of(revision_change(step.plan)) if one.step.pk == step.pk), None)
    return render(request, "schedules/review_step.html", {"form": form, "step": step, "line": line})
