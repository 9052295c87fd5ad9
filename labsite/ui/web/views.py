"""The gallery of components, and the answer to whoever asks whether the site is well."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.db import Error, connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from labsite.ui import navigation
from labsite.ui.web import samples

STAFF = navigation.LABORATORY | {"administrator"}


@login_not_required
@require_safe
def health(request: HttpRequest) -> HttpResponse:
    """Say whether the database answers."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except Error:
        return JsonResponse({"status": "unavailable", "database": "does not answer"}, status=503)
    return JsonResponse({"status": "ok", "database": "answers"})


@require_safe
def gallery(request: HttpRequest) -> HttpResponse:
    """Show each component in each of its states."""
    if not navigation.role_names(request.user) & STAFF:
        raise PermissionDenied("The gallery of components is for the laboratory's own people.")
    return render(request, "ui/gallery.html", samples.gallery())


@require_safe
def gallery_chart(request: HttpRequest) -> HttpResponse:
    """Answer an invented picture for the gallery."""
    return JsonResponse(samples.chart())
