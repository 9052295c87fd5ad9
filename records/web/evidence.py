"""The page of evidence: which sister's type test speaks for a step."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from records.selectors.evidence import Candidate, candidates_for, evidence_of_plans
from records.services.evidence import cite_evidence, drop_evidence
from records.services.refusals import Refused
from records.web.access import laboratory_only
from records.web.forms import ReasonForm, RefusableForm
from schedules.models import Evidence, Step


class EvidenceForm(RefusableForm):
    """Which sister's test is cited, and why."""

    source = forms.ChoiceField(label="Sister")
    reason = forms.CharField(label="Why it speaks for this unit", max_length=1000)

    def __init__(self, *args: Any, candidates: list[Candidate], **options: Any) -> None:
        super().__init__(*args, **options)
        self.steps = {str(one.step.pk): one.step for one in candidates if not one.reasons}
        choices = [(key, step.plan.unit.serial) for key, step in self.steps.items()]
        self.fields["source"].choices = choices  # type: ignore[attr-defined]

    @property
    def has_choice(self) -> bool:
        """Say whether any sister can be cited."""
        return bool(self.steps)

    def chosen(self) -> dict[str, Any]:
        """Return what the service asks for."""
        return {"source_step": self.steps[self.cleaned_data["source"]], "reason": self.cleaned_data["reason"]}


@laboratory_only
def evidence(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the same test of every sister of the design, and cite one."""
    step = get_object_or_404(Step.objects.visible_to(request.user).select_related("plan__unit"), pk=pk)
    found = candidates_for(step, request.user)
    form = EvidenceForm(request.POST if request.method == "POST" else None, candidates=found)
    if form.is_valid():
        try:
            cite_evidence(step=step, **form.chosen(), by=request.user)
        except Refused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, "The evidence is cited. This test is not made on the unit.")
            return redirect("schedules:unit", step.plan.unit_id)
    context = {
        "step": step,
        "unit": step.plan.unit,
        "candidates": found,
        "form": form,
        "cited": evidence_of_plans([step.plan_id]).get(step.pk),
        "drop_form": ReasonForm(prefix="drop"),
        "may_cite": request.user.has_role("approver"),
    }
    return render(request, "records/evidence.html", context)


@require_POST
@laboratory_only
def drop(request: HttpRequest, pk: int) -> HttpResponse:
    """Drop a citation with a reason."""
    found = get_object_or_404(Evidence.objects.visible_to(request.user).select_related("step__plan"), pk=pk)
    form = ReasonForm(request.POST, prefix="drop")
    try:
        drop_evidence(evidence=found, reason=form.cleaned_data["reason"] if form.is_valid() else "", by=request.user)
    except Refused as refused:
        messages.error(request, f"Nothing was changed. {refused}")
    else:
        messages.success(request, "The evidence is dropped; the test is made on the unit.")
    return redirect("records:evidence", found.step_id)
