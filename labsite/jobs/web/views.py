"""How far a job is, and starting it again."""

from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme, urlencode
from django.views.decorators.http import require_GET, require_POST

from labsite.jobs.models import Job, JobState
from labsite.jobs.services import JobRefused, retry_job


def _next_page(request: HttpRequest, given: str) -> str:
    """Return the page to show when the job is done: an address of this site, or none."""
    is_local = url_has_allowed_host_and_scheme(given, {request.get_host()}, require_https=request.is_secure())
    return given if is_local and given.startswith("/") else ""


def _address(job: Job, then: str) -> str:
    query = f"?{urlencode({'then': then})}" if then else ""
    return reverse("jobs:progress", args=[job.pk]) + query


@require_GET
def progress(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Show how far the job is; a done job leads to the page named by `then`."""
    job = get_object_or_404(Job.objects.visible_to(request.user), pk=pk)
    is_fragment = request.headers.get("HX-Request") == "true"
    then = _next_page(request, request.GET.get("then", ""))
    if then and job.state == JobState.DONE:
        return HttpResponse(headers={"HX-Redirect": then}) if is_fragment else redirect(then)
    context = {"job": job, "address": _address(job, then), "then": then}
    return render(request, "jobs/progress.html" if is_fragment else "jobs/page.html", context)


@require_POST
def retry(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Put a job that did not finish back on the table."""
    job = get_object_or_404(Job.objects.visible_to(request.user), pk=pk)
    then = _next_page(request, request.POST.get("then", ""))
    try:
        retry_job(job=job, by=request.user)
    except JobRefused as refused:
        return render(
            request, "ledger/refused.html", {"reason": refused.words, "back_url": _address(job, then)}, status=409
        )
    return redirect(_address(job, then))
