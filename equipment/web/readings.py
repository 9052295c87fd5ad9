"""Pages that read a calibration from a sheet, a table or a digital certificate, and confirm what was read."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from equipment import services
from equipment.models import CalibrationDraft, Instrument
from equipment.services.drafts import points_of
from equipment.services.rights import RIGHTS
from equipment.web.deeds import carried_out, deed_page, the_instrument
from equipment.web.forms import CorrectionUseForm
from equipment.web.keeping_forms import ConfirmForm, ReadForm, SetAsideForm
from labsite.people.access import roles_required

readers_only = roles_required(*RIGHTS["read_calibration"])


@readers_only
def read(request: HttpRequest, pk: int) -> HttpResponse:
    """Read a calibration into a draft."""
    item = the_instrument(request, pk)
    form = ReadForm(request.POST or None, request.FILES or None)
    draft = (
        carried_out(form, lambda: _read(item, form.cleaned_data, request.user)) if request.method == "POST" else None
    )
    if draft is not None:
        messages.info(request, "This was read. It counts for nothing until you have compared and confirmed it.")
        return redirect("equipment:draft", pk, draft.pk)
    context = {"form": form, "instrument": item, "title": f"Read a calibration of {item.identifier}", "button": "Read"}
    return render(request, "equipment/form.html", context, status=422 if form.errors else 200)


def _read(item: Instrument, said: dict[str, Any], by: Any) -> CalibrationDraft:
    about = {"instrument": item, "unit": said["unit"], "moment": said["moment"], "by": by}
    if said["file"]:
        return services.read_file(given_name=said["file"].name, content=said["file"].read(), **about)
    return services.read_pasted(text=said["text"], **about)


def _draft(request: HttpRequest, pk: int, draft_pk: int) -> CalibrationDraft:
    found = CalibrationDraft.objects.visible_to(request.user).for_page()
    return get_object_or_404(found, pk=draft_pk, instrument_id=pk)


@readers_only
def draft(request: HttpRequest, pk: int, draft_pk: int) -> HttpResponse:
    """Show what was read beside what must be stated, and confirm it."""
    row = _draft(request, pk, draft_pk)
    fields = {name: value for name, value in row.document["fields"].items() if name in ConfirmForm.base_fields}
    form = ConfirmForm(request.POST or None, initial=fields)  # what the corrections are for is asked, never guessed
    if request.method == "POST" and carried_out(form, lambda: _confirm(row, form, request.user)):
        messages.success(request, "The calibration is confirmed and counts from now on.")
        return redirect("equipment:detail", pk)
    context = {"draft": row, "instrument": row.instrument, "form": form, "points": points_of(row)}
    return render(request, "equipment/draft.html", context, status=422 if form.errors else 200)


def _confirm(row: CalibrationDraft, form: ConfirmForm, by: Any) -> object:
    said = form.values()
    return services.confirm_draft(draft=row, **said, by=by)


@readers_only
def set_aside(request: HttpRequest, pk: int, draft_pk: int) -> HttpResponse:
    """Put a draft aside."""
    row = _draft(request, pk, draft_pk)
    form = SetAsideForm(request.POST or None)
    return deed_page(
        request,
        form,
        lambda: services.set_aside_draft(draft=row, **form.cleaned_data, by=request.user),
        title=f"Set aside what was read for {row.instrument.identifier}",
        said="It is set aside and counts for nothing.",
        done=("equipment:detail", pk),
        instrument=row.instrument,
        button="Set aside",
    )


@readers_only
def decide_corrections(request: HttpRequest, pk: int, calibration_pk: int) -> HttpResponse:
    """Decide what the corrections of a calibration are for, where nobody has."""
    item = the_instrument(request, pk)
    calibration = get_object_or_404(item.calibrations, pk=calibration_pk)
    form = CorrectionUseForm(request.POST or None)
    return deed_page(
        request,
        form,
        lambda: services.decide_corrections(calibration=calibration, **form.cleaned_data, by=request.user),
        title=f"Corrections of {calibration.certificate_number}",
        said="It is decided. Runs that list the instrument from now on follow it.",
        done=("equipment:detail", pk),
        instrument=item,
        button="Decide",
    )
