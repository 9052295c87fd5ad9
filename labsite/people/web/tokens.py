"""A person's own tokens: programs that speak in this name."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from labsite.people.models import AccessToken
from labsite.people.services import issue_token, revoke_token
from labsite.people.web.forms import TokenForm


def tokens(request: HttpRequest) -> HttpResponse:
    """List one's own tokens; issue one, whose secret this page shows a single time."""
    form = TokenForm(request.POST or None, request=request)
    secret = ""
    if form.is_valid():
        token, secret = issue_token(user=request.user, label=form.cleaned_data["label"], by=request.user)
        messages.success(request, f"The token {token.label} is issued. Copy it now: it is not shown again.")
        form = TokenForm(request=request)
    own = AccessToken.objects.visible_to(request.user).of(request.user)
    response = render(request, "people/tokens.html", {"form": form, "tokens": own, "secret": secret})
    response["Cache-Control"] = "no-store"
    return response


@require_POST
def revoke(request: HttpRequest, token_pk: int) -> HttpResponse:
    """Revoke one of one's own tokens."""
    own = AccessToken.objects.visible_to(request.user).of(request.user)
    token = revoke_token(token=get_object_or_404(own, pk=token_pk), by=request.user)
    messages.success(request, f"The token {token.label} is revoked; programs that use it are refused from now on.")
    return redirect("people:tokens")
