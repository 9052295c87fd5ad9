"""Uploading a record, telling its columns, fetching it back, and its picture."""

from __future__ import annotations

import base64

from django.contrib import messages
from django.http import FileResponse, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from records.charts import figure_of, pattern_figure, pattern_of, pictured_files
from records.evaluation.parts import part_named
from records.models import Evaluation, Record
from records.readers.wanted import WANTED_BY_KIND
from records.selectors.digests import current_evaluation
from records.services.lifecycle import deeds_open_to
from records.services.refusals import Refused
from records.services.storing import absolute
from records.services.uploads import store_record, tell_columns
from records.web import forms
from records.web.access import laboratory_only
from records.web.pictures import chosen_file
from records.web.set_forms import AsideForm, RecordForm
from records.web.sheet import address_of, show, the_record, the_run


@require_POST
@laboratory_only
def upload(request: HttpRequest, pk: int) -> HttpResponse:
    """Take in a record; the page then shows how far its evaluation is."""
    run = the_run(request, pk)
    form = RecordForm(request.POST, request.FILES, kind=run.step.kind)
    if form.is_valid():
        file, part = form.cleaned_data["file"], form.cleaned_data.get("part", "")
        try:
            stored = store_record(run=run, stream=file, given_name=file.name, part=part, by=request.user)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, stored.words)
            return _to(request, address_of(run, "record"))
    return show(request, run, "record", form, status=422)


def _to(request: HttpRequest, address: str) -> HttpResponse:
    """Lead on: by a header where a script sent the file, else by a redirect."""
    if request.headers.get("HX-Request") == "true":
        return HttpResponse(headers={"HX-Redirect": address})
    return redirect(address)


@laboratory_only
def mapping(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what was understood of a file, and take the answer which column is which."""
    record = the_record(request, pk)
    seen = record.summary.get("preview", {})
    form = forms.MappingForm(
        request.POST if request.method == "POST" else None,
        preview=seen,
        needed=_nearest(record, [row["channel"] for row in seen.get("columns", ())]),
        run=record.run,
        viewer=request.user,
    )
    if form.is_valid():
        remember = form.cleaned_data["remember_for"]
        try:
            tell_columns(record=record, column_map=form.column_map, remember_for=remember, by=request.user)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, "Thank you. The record is being read again with these columns.")
            return redirect(address_of(record.run, "record"))
    is_own = request.user.pk in (record.run.operator_id, record.run.second_person_id)
    can_tell = record.state in ("needs_mapping", "read") and "tell_columns" in deeds_open_to(record.run.state)
    context = {
        "can_tell": can_tell and is_own and bool(form.needed),
        "record": record,
        "form": form,
        "preview": form.preview,
        "aside_form": AsideForm(record=record),
    }
    return render(request, "records/mapping.html", context, status=422 if form.errors else 200)


def _nearest(record: Record, found: list[str]) -> tuple[str, ...]:
    """Return the channels to ask for: those of its part, else the set of the step that the file comes nearest to."""
    kind = record.run.step.kind
    part = part_named(kind, record.part)
    if part is not None and part.channels:
        return part.channels
    return WANTED_BY_KIND[kind].nearest(found) if kind in WANTED_BY_KIND else ()


@require_GET
@laboratory_only
def record_file(request: HttpRequest, pk: int) -> FileResponse:
    """Give the bytes back as they came, with their digest."""
    record = the_record(request, pk)
    response = FileResponse(
        absolute(record.path).open("rb"),
        as_attachment=True,
        filename=record.given_name,
        content_type="application/octet-stream",
    )
    response["Repr-Digest"] = f"sha-256=:{base64.b64encode(bytes.fromhex(record.sha256)).decode()}:"  # RFC 9530
    return response


def _without_time(evaluation: Evaluation | None) -> JsonResponse:
    """Give the pattern where no voltage over time is known, else say that nothing was read."""
    pattern = pattern_of(evaluation) if evaluation is not None else None
    if pattern is None:
        return JsonResponse({"detail": "No record of this run has been read yet."}, status=404)
    return JsonResponse(pattern_figure(pattern))


@require_GET
@laboratory_only
def run_figure(request: HttpRequest, pk: int) -> JsonResponse:
    """Give the picture of the evaluation that counts: `from` and `to` ask for a window, `picture` for one file."""
    evaluation = current_evaluation(the_run(request, pk))
    files = pictured_files(evaluation) if evaluation else []
    asked = (request.GET.get("from"), request.GET.get("to"), chosen_file(files, request.GET.get("picture")))
    try:
        shown = figure_of(evaluation, *asked) if evaluation else None
    except ValueError:
        words = "from and to must be two places on the axis of the picture, the first before the last."
        return JsonResponse({"detail": words}, status=400)
    return _without_time(evaluation) if shown is None else JsonResponse(shown)


@require_GET
@laboratory_only
def photo_file(request: HttpRequest, pk: int, photo_pk: int) -> FileResponse:
    """Give one photograph of a run."""
    photo = get_object_or_404(the_run(request, pk).photos, pk=photo_pk)
    return FileResponse(photo.image.open("rb"))
