"""Pages of the witness: the run in the invitation, and the signature."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_http_methods

from labsite.people.access import roles_required
from labsite.people.roles import Role
from records.models import WitnessInvitation
from records.portal.forms import CodeForm, PasswordForm
from records.selectors.witnessing import own_invitations, witnessed
from records.services.invitations import InvitationClosed, check_code, find_open_invitation, sign_as_witness
from records.services.refusals import Refused

View = Callable[..., HttpResponse]


def unlisted(view: View) -> View:
    """Keep a page with a secret in its address out of caches and search engines."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response = view(request, *args, **kwargs)
        response["Cache-Control"] = "no-store"
        response["Referrer-Policy"] = "same-origin"  # with no-referrer the form comes back from origin "null"
        response["X-Robots-Tag"] = "noindex, nofollow"
        return response

    return guarded


@login_not_required
@unlisted
@require_http_methods(["GET", "HEAD", "POST"])
def by_link(request: HttpRequest, token: str) -> HttpResponse:
    """Show the run of an open invitation; sign it with typed name and code. Any other link finds nothing."""
    invitation = find_open_invitation(token)
    if invitation is None:
        return _closed(request)
    form = CodeForm(request.POST or None, initial={"printed_name": invitation.name})
    if request.method != "POST" or not form.is_valid():
        return _page(request, invitation, form)
    try:
        check_code(invitation=invitation, code=form.cleaned_data["code"])
        return _sign(request, invitation, form, by=invitation)
    except InvitationClosed as closed:
        return _closed(request, closed.words)
    except Refused as refused:
        form.add_error(None, refused.words)
        return _page(request, invitation, form, status=409)


@unlisted
@roles_required(Role.WITNESS)
@require_http_methods(["GET", "HEAD", "POST"])
def invitation(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the run to a witness with an account; sign it with typed name and password."""
    shown: WitnessInvitation = get_object_or_404(own_invitations(request.user), pk=pk)
    form = PasswordForm(request.POST or None, request=request, initial={"printed_name": shown.name})
    if request.method != "POST" or not form.is_valid():
        return _page(request, shown, form)
    try:
        return _sign(request, shown, form, by=request.user)
    except Refused as refused:
        form.add_error(None, refused.words)
        return _page(request, shown, form, status=409)


def _sign(request: HttpRequest, shown: WitnessInvitation, form: Any, by: Any) -> HttpResponse:
    told = form.cleaned_data
    sign_off = sign_as_witness(invitation=shown, digest=told["digest"], printed_name=told["printed_name"], by=by)
    return render(request, "portal/signed.html", {"sign_off": sign_off})


def _page(request: HttpRequest, shown: WitnessInvitation, form: Any, status: int | None = None) -> HttpResponse:
    seen = witnessed(shown)
    form.initial["digest"] = seen.digest
    told = status or (422 if form.errors else 200)
    return render(request, "portal/witness.html", {"seen": seen, "form": form}, status=told)


def _closed(request: HttpRequest, words: str = "") -> HttpResponse:
    return render(request, "portal/closed.html", {"words": words}, status=404)
