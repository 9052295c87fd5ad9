"""One form that writes one ledger entry."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponse, HttpResponseRedirect
from django.middleware.csrf import get_token
from django.urls import path

from labsite.ledger.services import record_entry, writing


@login_not_required
def form(request):
    """Give the token, or carry the form out."""
    if request.method != "POST":
        return HttpResponse(get_token(request), content_type="text/plain")
    with writing():
        entry = record_entry(action="demo.form", subject=("demo.thing", 1, "Thing"), by="A. Witness")
    return HttpResponseRedirect(f"/things/{entry.sequence}/")


urlpatterns = [path("form/", form)]
