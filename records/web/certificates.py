"""Pages of certificates: the list, one certificate, and what an approver does with it."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from labsite.ledger.selectors import history_of
from labsite.people.access import roles_required
from labsite.people.roles import LABORATORY_ROLES, Role
from records.models import Certificate
from records.selectors.certificates import certificate_row, find_certificates, unfinished_composition
from records.services.certificate_states import deeds_open
from records.services.certificates import (
    amend_certificate,
    issue_certificate,
    request_certificate,
    withdraw_certificate,
)
from records.services.delivery import certificate_file, draft_file
from records.services.refusals import Refused
from records.web.certificate_forms import AmendForm, IssueForm, WithdrawForm
from schedules.models import Unit

PAGE_SIZE = 50
laboratory_only = roles_required(*LABORATORY_ROLES)
approver_only = roles_required(Role.APPROVER)


def _certificate(request: HttpRequest, pk: int) -> Certificate:
    rows = Certificate.objects.visible_to(request.user).for_list()
    return get_object_or_404(rows.select_related("replaced_by", "requested_by", "withdrawn_by"), pk=pk)


@laboratory_only
@require_GET
def certificates(request: HttpRequest) -> HttpResponse:
    """List certificates, the newest first, or those that a search finds."""
    query = request.GET.get("q", "")
    page = Paginator(find_certificates(request.user, query), PAGE_SIZE).get_page(request.GET.get("page"))
    context = {"page_obj": page, "rows": [certificate_row(row) for row in page], "query": query}
    return render(request, "certificates/list.html", context)


@laboratory_only
@require_GET
def certificate(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one certificate and what can be done with it."""
    return _page(request, _certificate(request, pk))


def _page(request: HttpRequest, shown: Certificate, *, status: int = 200, **forms: Any) -> HttpResponse:
    """Render the page of a certificate; a form that was refused comes back with what was typed."""
    may_act = request.user.has_role(Role.APPROVER)  # type: ignore[union-attr]
    context = {
        "certificate": shown,
        "row": certificate_row(shown),
        "job": unfinished_composition(shown),
        "deeds": deeds_open(shown) if may_act else frozenset(),
        "issue_form": IssueForm(request=request, initial={"digest": shown.document_digest}),
        "amend_form": AmendForm(prefix="amend"),
        "withdraw_form": WithdrawForm(prefix="withdraw"),
        "entries": history_of("records.certificate", shown.pk, request.user),
        **forms,
    }
    return render(request, "certificates/detail.html", context, status=status)


@approver_only
@require_POST
def certificate_request(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for the certificate of a unit; what is missing is listed."""
    unit = get_object_or_404(Unit.objects.visible_to(request.user).for_list(), pk=pk)
    try:
        asked = request_certificate(unit=unit, by=request.user)
    except Refused as refused:
        return render(request, "certificates/not_ready.html", {"unit": unit, "refused": refused}, status=409)
    return redirect("records:certificate", asked.pk)


@approver_only
@require_POST
def certificate_issue(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign the draft that was shown, and issue it."""
    shown = _certificate(request, pk)
    form = IssueForm(request.POST, request=request)
    if not form.is_valid():
        return _page(request, shown, status=422, issue_form=form)
    try:
        issue_certificate(certificate=shown, digest=form.cleaned_data["digest"], by=request.user)
    except Refused as refused:
        return _refused(request, shown, "issue_form", form, refused)
    messages.success(request, f"{shown.number} is issued. Its final form is being sealed.")
    return redirect("records:certificate", pk)


@approver_only
@require_POST
def certificate_amend(request: HttpRequest, pk: int) -> HttpResponse:
    """Begin the amendment of an issued certificate."""
    shown = _certificate(request, pk)
    form = AmendForm(request.POST, prefix="amend")
    if not form.is_valid():
        return _page(request, shown, status=422, amend_form=form)
    try:
        amendment = amend_certificate(certificate=shown, reason=form.cleaned_data["reason"], by=request.user)
    except Refused as refused:
        return _refused(request, shown, "amend_form", form, refused)
    return redirect("records:certificate", amendment.pk)


@approver_only
@require_POST
def certificate_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Withdraw a draft or an issued certificate."""
    shown = _certificate(request, pk)
    form = WithdrawForm(request.POST, prefix="withdraw")
    if not form.is_valid():
        return _page(request, shown, status=422, withdraw_form=form)
    try:
        withdraw_certificate(certificate=shown, reason=form.cleaned_data["reason"], by=request.user)
    except Refused as refused:
        return _refused(request, shown, "withdraw_form", form, refused)
    messages.success(request, f"{shown.number} is withdrawn.")
    return redirect("records:certificate", pk)


def _refused(request: HttpRequest, shown: Certificate, name: str, form: Any, refused: Refused) -> HttpResponse:
    form.add_error(None, refused.words)
    shown.refresh_from_db()
    return _page(request, shown, status=409, **{name: form})


@laboratory_only
@require_GET
def certificate_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """Hand out the final form."""
    return certificate_file(_certificate(request, pk))


@laboratory_only
@require_GET
def certificate_draft(request: HttpRequest, pk: int) -> HttpResponse:
    """Hand out the draft."""
    return draft_file(_certificate(request, pk))
