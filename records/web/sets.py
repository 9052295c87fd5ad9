"""Which files a run is judged over, and the values that no file holds: each deed as a plain POST."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from records.models import Record, Run
from records.selectors.comparison import comparable_runs
from records.selectors.stated import asked_on_sheet
from records.services.refusals import Refused
from records.services.sets import choose_part, lend_record, set_aside_record, take_back_record
from records.services.stated import state_values
from records.web import set_forms
from records.web.access import laboratory_only
from records.web.forms import EmptyForm
from records.web.sheet import act, address_of, the_record, the_run


def _done(request: HttpRequest, record: Record, form: Any, deed: Any, words: str) -> HttpResponse:
    """Do what was asked of one file and go back to the list of files; a refusal is told there."""
    if form.is_valid():
        try:
            deed(record=record, **form.cleaned_data, by=request.user)
        except Refused as refused:
            messages.error(request, refused.words)
        else:
            messages.success(request, words)
    else:
        messages.error(request, "; ".join(str(words) for errors in form.errors.values() for words in errors))
    return redirect(address_of(record.run, "record"))


@require_POST
@laboratory_only
def part(request: HttpRequest, pk: int) -> HttpResponse:
    """Say which part a file plays."""
    record = the_record(request, pk)
    form = set_forms.PartForm(request.POST, record=record)
    return _done(request, record, form, choose_part, "Noted. The file is read again and the run judged over the set.")


@require_POST
@laboratory_only
def set_aside(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a file out of the set, with a reason."""
    record = the_record(request, pk)
    form = set_forms.AsideForm(request.POST, record=record)
    words = "The file is set aside; its bytes stay. The run is judged over the files that are left."
    return _done(request, record, form, set_aside_record, words)


@require_POST
@laboratory_only
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a file back into the set."""
    words = "The file is taken back. It is read again and the run judged over the set."
    return _done(request, the_record(request, pk), EmptyForm(request.POST), take_back_record, words)


@require_POST
@laboratory_only
def lend(request: HttpRequest, pk: int) -> HttpResponse:
    """Let the file of another run play a part in this one."""
    run = the_run(request, pk)
    form = set_forms.LendForm(request.POST, kind=run.step.kind, runs=comparable_runs(run, request.user))
    words = "The file of that run is taken; the bytes are the same. The run is judged over the set."
    return act(request, run, "record", form, lend_record, words, "record")


@require_POST
@laboratory_only
def values(request: HttpRequest, pk: int) -> HttpResponse:
    """Note the values that the record does not hold."""
    run = the_run(request, pk)
    form = set_forms.ValuesForm(request.POST, asked=asked_on_sheet(run), stated={})

    def deed(*, run: Run, by: Any, **stated: Any) -> None:
        state_values(run=run, values=stated, by=by)

    return act(request, run, "values", form, deed, "The values are noted.", "values" if run.records.all() else "")
