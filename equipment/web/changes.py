"""Pages that change instruments: the quality manager's."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from equipment.models import Instrument
from equipment.services import change_state, edit_instrument, enter_calibration, enter_instrument
from equipment.services.lifecycle import next_states
from equipment.services.rights import RIGHTS
from equipment.web.forms import CalibrationForm, InstrumentForm, StateForm, points_formset
from labsite.people.access import roles_required


@roles_required(*RIGHTS["enter_instrument"])
def create(request: HttpRequest) -> HttpResponse:
    """Enter an instrument."""
    form = InstrumentForm(request.POST or None)
    if form.is_valid():
        try:
            instrument = enter_instrument(**form.values(), by=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, f"{instrument.identifier} is entered. Enter its calibration next.")
            return redirect("equipment:detail", instrument.pk)
    return render(request, "equipment/form.html", {"form": form, "title": "Enter an instrument"})


@roles_required(*RIGHTS["edit_instrument"])
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct an instrument."""
    instrument = get_object_or_404(Instrument.objects.visible_to(request.user), pk=pk)
    form = InstrumentForm(request.POST or None, instance=instrument, initial={"version": instrument.version})
    if form.is_valid():
        version = form.cleaned_data["version"]
        try:
            edit_instrument(instrument=instrument, version=version, changes=form.values(), by=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, "The instrument is stored.")
            return redirect("equipment:detail", pk)
    title = f"Correct {instrument.identifier}"
    return render(request, "equipment/form.html", {"form": form, "title": title, "instrument": instrument})


@roles_required(*RIGHTS["change_state"])
def change_instrument_state(request: HttpRequest, pk: int) -> HttpResponse:
    """Move an instrument on in its life."""
    instrument = get_object_or_404(Instrument.objects.visible_to(request.user), pk=pk)
    initial = {"version": instrument.version}
    form = StateForm(request.POST or None, states=next_states(instrument.state), initial=initial)
    if form.is_valid():
        try:
            said = {**form.cleaned_data, "on": form.cleaned_data["on"] or timezone.localdate()}
            moved = change_state(instrument=instrument, **said, by=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, f"{moved.identifier} is now: {moved.get_state_display().lower()}.")
            return redirect("equipment:detail", pk)
    title = f"Change the state of {instrument.identifier}"
    return render(request, "equipment/form.html", {"form": form, "title": title, "instrument": instrument})


@roles_required(*RIGHTS["enter_calibration"])
def calibrate(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter a calibration with its points."""
    instrument = get_object_or_404(Instrument.objects.visible_to(request.user), pk=pk)
    form = CalibrationForm(request.POST or None)
    points = points_formset(request.POST or None, lines=request.GET.get("lines", ""))
    if form.is_valid() and points.is_valid():
        try:
            enter_calibration(instrument=instrument, points=points.values(), **form.values(), by=request.user)
        except ValidationError as error:
            form.add_error(None, form.at_fields(error))
        else:
            messages.success(request, "The calibration is stored with its points.")
            return redirect("equipment:detail", pk)
    return render(request, "equipment/calibrate.html", {"form": form, "points": points, "instrument": instrument})
