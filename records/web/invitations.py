"""The page on which the laboratory invites a witness to a run and ends an invitation."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from records.models import Run, WitnessInvitation
from records.selectors.witnessing import invitations_of
from records.services.invitations import LONGEST_HOURS, invite_witness, revoke_invitation
from records.services.refusals import Refused
from records.web.access import laboratory_only


class InvitationForm(forms.Form):
    """Who is invited, and for how long."""

    name = forms.CharField(label="Name", max_length=120)
    company = forms.CharField(label="Company", max_length=200, required=False)
    email = forms.EmailField(label="E-mail address", help_text="The link goes there; the code does not.")
    hours = forms.IntegerField(label="Valid for, in hours", min_value=1, max_value=LONGEST_HOURS, initial=24)


@laboratory_only
@require_http_methods(["GET", "HEAD", "POST"])
def witnesses(request: HttpRequest, pk: int) -> HttpResponse:
    """Show who is invited to a run; invite another. The code is shown in this one answer and never again."""
    run = get_object_or_404(Run.objects.visible_to(request.user).for_list(), pk=pk)
    form = InvitationForm(request.POST or None)
    if request.method != "POST":
        return _page(request, run, form)
    if not form.is_valid():
        return _page(request, run, form, 422)
    site = request.build_absolute_uri("/")
    try:
        invitation, _, code = invite_witness(run=run, **form.cleaned_data, site=site, by=request.user)
    except Refused as refused:
        form.add_error(None, refused.words)
        return _page(request, run, form, 409)
    return _page(request, run, InvitationForm(), invitation=invitation, code=code)


def _page(request: HttpRequest, run: Run, form: forms.Form, status: int = 200, **more: Any) -> HttpResponse:
    context = {"run": run, "form": form, "invitations": invitations_of(run, request.user), **more}
    response = render(request, "records/witnesses.html", context, status=status)
    response["Cache-Control"] = "no-store"
    return response


@laboratory_only
@require_POST
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """End an invitation."""
    invitation = get_object_or_404(WitnessInvitation.objects.visible_to(request.user), pk=pk)
    revoke_invitation(invitation=invitation, by=request.user)
    messages.success(request, f"The invitation of {invitation.name} is revoked. A signature that was given stands.")
    return redirect("records:witnesses", invitation.run_id)
