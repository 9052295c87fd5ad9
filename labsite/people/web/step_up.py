"""Asks for the password again before a signature."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme

from labsite.people.step_up import StepUpForm


def confirm(request: HttpRequest) -> HttpResponse:
    """Ask for the password, then go back to the page that needed it."""
    form = StepUpForm(request.POST or None, request=request)
    asked = request.GET.get("next", "")
    if form.is_valid():
        is_ours = url_has_allowed_host_and_scheme(asked, {request.get_host()}, require_https=request.is_secure())
        return HttpResponseRedirect(asked if is_ours else reverse("home"))
    return render(request, "people/step_up.html", {"form": form})
