"""The run sheet, and every deed on it as a plain POST."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from records.models import Record, Run
from records.selectors import choices
from records.selectors.sheet import SheetStep, run_sheet
from records.services import checks, instruments, runs, sign_offs
from records.services.lifecycle import deeds_open_to
from records.services.refusals import Refused
from records.web import forms
from records.web.access import laboratory_only, quality_manager_only
from records.web.panels import panel_context


def the_run(request: HttpRequest, pk: int) -> Run:
    """Return the run, if this person may see it."""
    return get_object_or_404(Run.objects.visible_to(request.user).for_detail(), pk=pk)


def the_record(request: HttpRequest, pk: int) -> Record:
    """Return the record, if this person may see it."""
    return get_object_or_404(Record.objects.visible_to(request.user).for_page(), pk=pk)


def address_of(run: Run, at: str = "") -> str:
    """Return the address of a run's sheet, at one of its lines."""
    address = reverse("records:run", args=[run.pk])
    return f"{address}?at={at}" if at else address


@laboratory_only
def run(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the run sheet at the line asked for, else at the one that comes next."""
    return show(request, the_run(request, pk), request.GET.get("at"))


def show(request: HttpRequest, run: Run, at: str | None, bound: Any = None, status: int = 200) -> HttpResponse:
    """Render the sheet with one panel open; a bound form keeps what was typed."""
    sheet = run_sheet(run)
    step: SheetStep = sheet.at(at)
    context = {
        "run": run,
        "sheet": sheet,
        "step": step,
        "timeline": sheet.timeline(step, address_of(run)),
        "deeds": deeds_open_to(run.state),
        "is_own": request.user.pk in (run.operator_id, run.second_person_id),
        "abandon_form": forms.ReasonForm(prefix="abandon"),
        **panel_context(request, run, step, bound),
    }
    return render(request, "records/run.html", context, status=status)


def act(
    request: HttpRequest, run: Run, at: str, form: Any, deed: Callable[..., Any], words: str, then: str = ""
) -> HttpResponse:
    """Bind, do, and go to the next line; refuse in words on the same page with what was typed."""
    if form.is_valid():
        try:
            deed(run=run, **form.cleaned_data, by=request.user)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, words)
            return redirect(address_of(run, then))
    return show(request, run, at, form, status=422)


@require_POST
@laboratory_only
def conditions(request: HttpRequest, pk: int) -> HttpResponse:
    """Note the ambient conditions."""
    form = forms.ConditionsForm(request.POST)
    return act(request, the_run(request, pk), "conditions", form, runs.record_conditions, "Conditions are noted.")


@require_POST
@laboratory_only
def use_system(request: HttpRequest, pk: int) -> HttpResponse:
    """List a measuring system."""
    form = forms.SystemForm(request.POST, viewer=request.user)
    words = "The instruments of the measuring system are listed."
    return act(request, the_run(request, pk), "instruments", form, instruments.use_system, words, "instruments")


@require_POST
@laboratory_only
def use_instrument(request: HttpRequest, pk: int) -> HttpResponse:
    """List an instrument."""
    form = forms.InstrumentForm(request.POST, viewer=request.user)
    words = "The instrument is listed."
    return act(request, the_run(request, pk), "instruments", form, instruments.use_instrument, words, "instruments")


@require_POST
@laboratory_only
def take_out(request: HttpRequest, pk: int) -> HttpResponse:
    """Take an instrument out."""
    found = the_run(request, pk)
    form = forms.TakeOutForm(request.POST, viewer=request.user, run=found)
    words = "The instrument is taken out; the history keeps that it was listed."
    return act(request, found, "instruments", form, instruments.take_out_instrument, words, "instruments")


@require_POST
@quality_manager_only
def override(request: HttpRequest, pk: int) -> HttpResponse:
    """Override an instrument's calibration for this run."""
    found = the_run(request, pk)
    form = forms.OverrideForm(request.POST, run=found)
    words = "The override is recorded; the certificate will print it."

    def deed(*, run: Run, by: Any, **chosen: Any) -> None:
        instruments.override_calibration(**chosen, by=by)

    return act(request, found, "instruments", form, deed, words, "instruments")


@require_POST
@laboratory_only
def charge_calibration(request: HttpRequest, pk: int) -> HttpResponse:
    """Note the charge calibration."""
    form = forms.ChargeCalibrationForm(request.POST)
    words = "The charge calibration is noted."
    return act(request, the_run(request, pk), "calibration", form, checks.record_charge_calibration, words)


@require_POST
@laboratory_only
def background_noise(request: HttpRequest, pk: int) -> HttpResponse:
    """Note the background noise."""
    form = forms.NoiseForm(request.POST)
    return act(request, the_run(request, pk), "noise", form, checks.record_background_noise, "The noise is noted.")


@require_POST
@laboratory_only
def voltage_scale(request: HttpRequest, pk: int) -> HttpResponse:
    """Note the voltage scale."""
    form = forms.ScaleForm(request.POST)
    words = "The voltage scale is noted."
    return act(request, the_run(request, pk), "scale", form, checks.record_voltage_scale, words)


@require_POST
@laboratory_only
def safety(request: HttpRequest, pk: int) -> HttpResponse:
    """Note one safety confirmation."""
    form = forms.SafetyForm(request.POST)
    return act(request, the_run(request, pk), "safety", form, checks.confirm_safety, "Confirmed, with your name.")


@require_POST
@laboratory_only
def calibrator_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Note that the calibrator is off the circuit."""
    form = forms.EmptyForm(request.POST)
    words = "Confirmed, with your name: the calibrator is off the circuit."
    return act(request, the_run(request, pk), "calibrator_off", form, checks.confirm_calibrator_off, words)


@require_POST
@laboratory_only
def open_stages(request: HttpRequest, pk: int) -> HttpResponse:
    """Open the energised stages."""
    form = forms.EmptyForm(request.POST)
    words = "The energised stages are open."
    return act(request, the_run(request, pk), "open", form, runs.open_energised_stages, words)


@require_POST
@laboratory_only
def mark_stage(request: HttpRequest, pk: int) -> HttpResponse:
    """Note how a stage went."""
    form = forms.MarkForm(request.POST)
    return act(request, the_run(request, pk), "", form, runs.mark_stage, "Noted. The record decides.")


@require_POST
@laboratory_only
def remark(request: HttpRequest, pk: int) -> HttpResponse:
    """Write a remark."""
    form = forms.RemarkForm(request.POST)
    return act(request, the_run(request, pk), "notes", form, runs.add_remark, "The remark is added.", "notes")


@require_POST
@laboratory_only
def photo(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a photograph."""
    form = forms.PhotoForm(request.POST, request.FILES)
    return act(request, the_run(request, pk), "notes", form, runs.add_photo, "The photograph is added.", "notes")


@require_POST
@laboratory_only
def abandon(request: HttpRequest, pk: int) -> HttpResponse:
    """Abandon the run."""
    form = forms.ReasonForm(request.POST, prefix="abandon")
    words = "The run is abandoned. Another may be started for the same arrangement."
    return act(request, the_run(request, pk), "abandon", form, runs.abandon_run, words)


@require_POST
@laboratory_only
def sign(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign as tester, with the password."""
    form = forms.SignForm(request.POST, request=request)

    def deed(*, run: Run, digest: str, by: Any, **secret: Any) -> None:
        sign_offs.sign_run_as_tester(run=run, digest=digest, by=by)

    return act(request, the_run(request, pk), "sign", form, deed, "Signed. The run waits for its approver.", "sign")


@laboratory_only
def create(request: HttpRequest) -> HttpResponse:
    """Start a run of the arrangement that the address names."""
    given = request.GET.get("arrangement", "")
    found = choices.arrangements_visible_to(request.user)
    arrangement = get_object_or_404(found, pk=int(given) if given.isdecimal() and len(given) < 19 else 0)
    repeated = choices.last_run_of(arrangement, request.user)
    sent = request.POST if request.method == "POST" else None
    form = forms.RunForm(sent, viewer=request.user, is_repeat=repeated is not None)
    if form.is_valid():
        try:
            made = runs.start_run(arrangement=arrangement, **form.cleaned_data, by=request.user)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"Run {made.number} is started. Go down the sheet, line by line.")
            return redirect("records:run", made.pk)
    context = {"form": form, "arrangement": arrangement, "repeated": repeated}
    return render(request, "records/run_create.html", context, status=422 if form.errors else 200)
