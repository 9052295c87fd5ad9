"""Pages of rule packs: the laboratory's own, those that ship, and what unconfirmed rows block."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from labsite.ledger.selectors import history_of
from schedules.models import PackVersion
from schedules.selectors import sheets_of_document
from schedules.selectors.packs import policy, row_lines, shipped_packs, trial_of
from schedules.services.packs import (
    confirm_pack,
    confirm_rows,
    edit_pack,
    retire_pack,
    set_rule_policy,
    validated,
    write_pack,
)
from schedules.services.refusals import ScheduleRefused
from schedules.services.rights import deeds_of
from schedules.web.access import laboratory_only, sent
from schedules.web.forms import ReasonForm, VersionForm
from schedules.web.pack_forms import PackEditForm, PackForm, PolicyForm, RowsForm, TrialForm


@laboratory_only
def packs(request: HttpRequest) -> HttpResponse:
    """List the laboratory's own packs and those that ship, and decide what unconfirmed rows block."""
    decided = policy()
    form = PolicyForm(sent(request), initial={"blocks": decided.blocks_certificates, "version": decided.version})
    if form.is_valid():
        try:
            set_rule_policy(**form.decision(), by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, "The decision is kept.")
            return redirect("schedules:packs")
    context = {
        "own": PackVersion.objects.visible_to(request.user).for_list(),
        "shipped": shipped_packs(),
        "policy": decided,
        "form": form,
        "rights": deeds_of(request.user),
    }
    return render(request, "schedules/packs.html", context)


@laboratory_only
def create(request: HttpRequest) -> HttpResponse:
    """Write a pack of the laboratory's own; `?from=` begins with the text of one that stands."""
    begun = PackVersion.objects.visible_to(request.user).with_key(request.GET.get("from", ""))
    form = PackForm.begun_with(begun, sent(request))
    if form.is_valid():
        try:
            made = write_pack(**form.cleaned_data, by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"{made} is kept. Somebody else confirms it before it is used.")
            return redirect("schedules:pack", made.pk)
    return render(request, "schedules/pack_form.html", {"form": form, "begun": begun})


@laboratory_only
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a pack that nobody has confirmed yet."""
    found = get_object_or_404(PackVersion.objects.visible_to(request.user).for_list(), pk=pk)
    form = PackEditForm(sent(request), initial={"content": found.content, "version": found.version})
    if form.is_valid():
        try:
            edit_pack(pack=found, **form.cleaned_data, by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"{found} is stored.")
            return redirect("schedules:pack", found.pk)
    return render(request, "schedules/pack_form.html", {"form": form, "pack": found})


@laboratory_only
def pack(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one version of a pack, and try it on sample ratings; a trial stores nothing."""
    found = get_object_or_404(PackVersion.objects.visible_to(request.user).for_list(), pk=pk)
    form = TrialForm(sent(request))
    trial = trial_of(validated(found.name, found.content), form.ratings()) if form.is_valid() else None
    context = {
        "pack": found,
        "form": form,
        "trial": trial,
        "steps": sheets_of_document(trial.document) if trial and trial.document else [],
        "version_form": VersionForm(initial={"version": found.version}),
        "reason_form": ReasonForm(),
        "rights": deeds_of(request.user),
        "entries": history_of("schedules.packversion", found.pk, request.user),
    }
    return render(request, "schedules/pack.html", context)


@require_POST
@laboratory_only
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """Confirm a pack that somebody else wrote."""
    found = get_object_or_404(PackVersion.objects.visible_to(request.user), pk=pk)
    form = VersionForm(request.POST)
    try:
        confirm_pack(pack=found, version=form.cleaned_data["version"] if form.is_valid() else 0, by=request.user)
    except ScheduleRefused as refused:
        messages.error(request, f"Nothing was changed. {refused.words}")
    else:
        messages.success(request, f"{found} is confirmed and in use. It is never edited from now on.")
    return redirect("schedules:pack", found.pk)


@require_POST
@laboratory_only
def retire(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a pack out of use."""
    found = get_object_or_404(PackVersion.objects.visible_to(request.user), pk=pk)
    form = ReasonForm(request.POST)
    try:
        retire_pack(pack=found, reason=form.cleaned_data["reason"] if form.is_valid() else "", by=request.user)
    except ScheduleRefused as refused:
        messages.error(request, f"Nothing was changed. {refused.words}")
    else:
        messages.success(request, f"{found} is out of use.")
    return redirect("schedules:pack", found.pk)


@laboratory_only
def shipped(request: HttpRequest, name: str) -> HttpResponse:
    """Show the rows of a shipped pack and confirm them against the laboratory's licensed copy."""
    line = next((one for one in shipped_packs() if one.pack.name == name), None)
    if line is None:
        raise Http404
    lines = row_lines(name)
    form = RowsForm(sent(request), lines=lines)
    if form.is_valid():
        try:
            made = confirm_rows(pack=name, **form.cleaned_data, by=request.user)
        except ScheduleRefused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"Confirmed of {line.pack.document}: {len(made)} of {line.rows} rows.")
            return redirect("schedules:pack-shipped", name)
    context = {"line": line, "lines": lines, "form": form, "rights": deeds_of(request.user)}
    return render(request, "schedules/pack_shipped.html", context)
