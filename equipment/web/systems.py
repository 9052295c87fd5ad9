"""Pages of measuring systems."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from equipment.models import MeasuringSystem
from equipment.selectors import system_status
from equipment.selectors.budgets import shares_of
from equipment.services import assign_system, end_system
from equipment.services.rights import RIGHTS, has_right
from equipment.services.systems import check_performance, make_budget, reassign_system
from equipment.web.deeds import deed_page
from equipment.web.forms import EndForm, SystemForm
from equipment.web.upkeep_forms import BudgetForm, PerformanceForm, ReassignForm
from labsite.ledger.selectors import history_of
from labsite.people.access import refusal, roles_required
from labsite.people.roles import LABORATORY_ROLES

laboratory_only = roles_required(*LABORATORY_ROLES)


@laboratory_only
def systems(request: HttpRequest) -> HttpResponse:
    """List the measuring systems with where they stand today."""
    found = MeasuringSystem.objects.visible_to(request.user).for_list()
    page = Paginator(found, 50).get_page(request.GET.get("page"))
    rows = [system_status(system, timezone.localdate()) for system in page]
    context = {"page_obj": page, "rows": rows, "may_assign": has_right("assign_system", request.user)}
    return render(request, "equipment/systems.html", context)


@roles_required(*RIGHTS["assign_system"])
def create(request: HttpRequest) -> HttpResponse:
    """Assign a measuring system."""
    form = SystemForm(request.POST or None, viewer=request.user, initial={"assigned_on": timezone.localdate()})
    if form.is_valid():
        try:
            system = assign_system(**form.cleaned_data, by=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, f"{system.name} is assigned; run sheets offer it from now on.")
            return redirect("equipment:system", system.pk)
    return render(request, "equipment/form.html", {"form": form, "title": "Assign a measuring system"})


def _the_system(request: HttpRequest, pk: int) -> MeasuringSystem:
    return get_object_or_404(MeasuringSystem.objects.visible_to(request.user).for_detail(), pk=pk)


@roles_required(*RIGHTS["assign_system"])
def reassign(request: HttpRequest, pk: int) -> HttpResponse:
    """Begin the next assignment of a system: other components, another factor or uncertainty."""
    system = _the_system(request, pk)
    kept = {"instruments": [part.instrument_id for part in system.components.all()]}
    names = ("scale_factor", "relative_uncertainty_pct", "coverage_factor")
    initial = {**kept, **{name: getattr(system, name) for name in names}, "assigned_on": timezone.localdate()}
    form = ReassignForm(request.POST or None, viewer=request.user, initial=initial)
    return deed_page(
        request,
        form,
        lambda: reassign_system(system=system, **form.cleaned_data, by=request.user),
        title=f"Next assignment of {system.name}",
        said="The next assignment has begun; runs that used the one before keep it.",
        done=("equipment:systems",),
        back_url=reverse("equipment:system", args=[pk]),
    )


@roles_required(*RIGHTS["check_system"])
def check(request: HttpRequest, pk: int) -> HttpResponse:
    """Record a performance check."""
    system = _the_system(request, pk)
    form = PerformanceForm(request.POST or None, initial={"on": timezone.localdate()})
    return deed_page(
        request,
        form,
        lambda: check_performance(system=system, **form.cleaned_data, by=request.user),
        title=f"Performance check of {system.name}",
        said="The check is recorded.",
        done=("equipment:system", pk),
        back_url=reverse("equipment:system", args=[pk]),
    )


@roles_required(*RIGHTS["make_budget"])
def budget(request: HttpRequest, pk: int) -> HttpResponse:
    """Compute the next version of a system's uncertainty budget."""
    system = _the_system(request, pk)
    form = BudgetForm(request.POST or None)
    return deed_page(
        request,
        form,
        lambda: make_budget(system=system, **form.cleaned_data, by=request.user),
        title=f"Uncertainty budget of {system.name}",
        said="The budget is stored; runs that list the system from now on use it.",
        done=("equipment:system", pk),
        button="Compute and store",
        back_url=reverse("equipment:system", args=[pk]),
        help_text="Calibrations, drift since, resolution and repeatability are taken from the instruments.",
    )


@laboratory_only
def detail(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one measuring system; the quality manager may end it."""
    system = _the_system(request, pk)
    may_end = has_right("end_system", request.user)
    form = EndForm(request.POST or None, initial={"on": timezone.localdate()})
    if request.method == "POST" and not may_end:
        raise refusal(*RIGHTS["end_system"])
    if form.is_valid():
        try:
            end_system(system=system, **form.cleaned_data, by=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, f"{system.name} is ended; runs that used it keep it.")
            return redirect("equipment:system", pk)
    entries = history_of("equipment.measuringsystem", pk, request.user)
    context = {"status": system_status(system, timezone.localdate()), "form": form, "may_end": may_end}
    budgets = list(system.budgets.all())
    context |= {"budgets": budgets, "shares": shares_of(budgets[0]) if budgets else []}
    return render(request, "equipment/system.html", {**context, "system": system, "entries": entries})
