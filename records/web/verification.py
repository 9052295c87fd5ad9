"""The public page that answers whether a certificate is genuine and still valid; it needs no sign-in."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from records.selectors.certificates import certificate_in_public, certificate_row
from records.services.verification import LARGEST_BYTES, compare
from records.web.certificate_forms import CompareForm, NumberForm

MARGIN_BYTES = 2**16  # of the form around the file


@login_not_required
@require_safe
def verify_start(request: HttpRequest) -> HttpResponse:
    """Ask for the number printed on the certificate."""
    form = NumberForm(request.GET or None)
    if request.GET and form.is_valid():
        return redirect("records:verify", form.cleaned_data["number"])
    return render(request, "certificates/verify_start.html", {"form": form})


@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def verify(request: HttpRequest, number: str) -> HttpResponse:
    """Say number, state, digest and date of a certificate, and compare a file or digest with it; nothing more."""
    found = certificate_in_public(number)
    if found is None:
        return render(request, "certificates/verify_unknown.html", {"number": number[:60]}, status=404)
    context = {"certificate": found, "row": certificate_row(found), "form": CompareForm()}
    if request.method != "POST":
        return render(request, "certificates/verify.html", context)
    if int(request.META.get("CONTENT_LENGTH") or 0) > LARGEST_BYTES + MARGIN_BYTES:
        return render(request, "certificates/verify.html", {**context, "is_too_large": True}, status=413)
    form = CompareForm(request.POST, request.FILES)
    if not form.is_valid():
        return render(request, "certificates/verify.html", {**context, "form": form}, status=422)
    comparison = compare(found, form.cleaned_data["found"])
    return render(request, "certificates/verify.html", {**context, "form": form, "comparison": comparison})
