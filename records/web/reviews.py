"""The approver's page: what needs judgement first, then sign or ask for a repeat."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from labsite.ledger.selectors import history_of
from labsite.people.access import roles_required
from labsite.people.roles import Role
from records.models import Run
from records.selectors.digests import current_evaluation, run_digest
from records.selectors.judgement import earlier_runs, finding_rows, judged_files, what_needs_judgement
from records.selectors.review import facts_of, hindrance, way_of
from records.services.refusals import Refused
from records.services.sign_offs import APPROVER_MEANING, approve_run, ask_for_repeat
from records.web import forms
from records.web.access import laboratory_only
from records.web.pictures import picture_context
from records.web.sheet import the_run

approvers_only = roles_required(Role.APPROVER)


@require_GET
@laboratory_only
def review(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a run as its approver needs it."""
    return _show(request, the_run(request, pk))


def _show(request: HttpRequest, run: Run, status: int = 200, **bound: Any) -> HttpResponse:
    evaluation = current_evaluation(run)
    digest = run_digest(run)
    context = {
        "run": run,
        "way": way_of(run),
        "evaluation": evaluation,
        "judged": judged_files(evaluation),
        "findings": finding_rows(evaluation),
        "matters": what_needs_judgement(run),
        "earlier": earlier_runs(run, request.user),
        "facts": facts_of(run),
        "hindrance": hindrance(run, request.user),
        "meaning": APPROVER_MEANING,
        "digest": digest,
        "form": forms.SignForm(request=request, initial={"digest": digest}),
        "repeat_form": forms.ReasonForm(prefix="repeat"),
        **picture_context(request, run, evaluation),
        **bound,
    }
    return render(request, "records/review.html", context, status=status)


@require_POST
@approvers_only
def approve(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign as approver, with the password."""
    run = the_run(request, pk)
    form = forms.SignForm(request.POST, request=request)
    if form.is_valid():
        try:
            approve_run(run=run, digest=form.cleaned_data["digest"], by=request.user)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"Run {run.number} is approved. {_consequence(run)}")
            return redirect("records:review", run.pk)
    return _show(request, run, 422, form=form)


def _consequence(run: Run) -> str:
    return {
        "conforms": "It stands.",
        "does_not_conform": "A nonconformance is open: decide what becomes of the unit.",
        "inconclusive": "It decides nothing about the unit: the arrangement is open for another run.",
        "not_valid": "It was no valid test and says nothing about the unit: the arrangement is open for another run.",
    }[run.verdict]


@require_POST
@approvers_only
def repeat(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for a repeat, with a reason."""
    run = the_run(request, pk)
    form = forms.ReasonForm(request.POST, prefix="repeat")
    if form.is_valid():
        try:
            ask_for_repeat(run=run, reason=form.cleaned_data["reason"], by=request.user)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"A repeat of run {run.number} is asked for. Its people find it under Today.")
            return redirect("records:review", run.pk)
    return _show(request, run, 422, repeat_form=form)


@require_GET
@laboratory_only
def history(request: HttpRequest, pk: int) -> HttpResponse:
    """Show everything that was done to a run."""
    run = the_run(request, pk)
    entries = history_of("records.run", run.pk, request.user)
    return render(request, "records/history.html", {"run": run, "entries": entries})
