"""Inviting a witness to a run, and ending the invitation."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from records.models import Run, WitnessInvitation
from records.services.invitations import LONGEST_HOURS, invite_witness, revoke_invitation
from records.services.refusals import Refused
from records.web.access import laboratory_only
from records.web.forms import RefusableForm


class InviteForm(RefusableForm):
    """Who is invited, and for how long."""

    name = forms.CharField(max_length=120, help_text="Printed with the signature; the witness may correct it.")
    company = forms.CharField(max_length=200, required=False)
    email = forms.EmailField(label="E-mail address", help_text="The link goes there.")
    hours = forms.IntegerField(
        label="Valid for, hours", initial=24, min_value=1, max_value=LONGEST_HOURS, help_text="72 at the most."
    )


@laboratory_only
def witnesses(request: HttpRequest, pk: int) -> HttpResponse:
    """Show who is invited to a run, and invite somebody; the code is shown once."""
    run = get_object_or_404(Run.objects.visible_to(request.user).for_detail(), pk=pk)
    form = InviteForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        site = request.build_absolute_uri("/")
        try:
            invitation, _, code = invite_witness(run=run, **form.cleaned_data, site=site, by=request.user)
        except Refused as refused:
            form.refuse(refused)
        else:
            words = f"The link is on its way to {invitation.email}. Tell {invitation.name} this code yourself: {code}."
            messages.success(request, f"{words} It is shown only now.")
            return redirect("records:witnesses", run.pk)
    return render(request, "records/witnesses.html", {"run": run, "form": form}, status=422 if form.errors else 200)


@require_POST
@laboratory_only
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """End an invitation."""
    invitation = get_object_or_404(WitnessInvitation.objects.visible_to(request.user).select_related("run"), pk=pk)
    revoke_invitation(invitation=invitation, by=request.user)
    messages.success(request, f"The invitation of {invitation.name} is ended. A signature that was given stands.")
    return redirect("records:witnesses", invitation.run_id)
