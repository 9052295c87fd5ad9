"""A person's own reminders, and the calendar behind its secret address."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from equipment.selectors.reminders import calendar_feed_of, digests_in_doubt, setting_of
from equipment.services import calendars
from equipment.services import reminders as services
from equipment.services.reminders import set_reminders
from equipment.services.rights import RIGHTS
from equipment.web.deeds import carried_out
from equipment.web.upkeep_forms import RemindersForm
from labsite.people.access import roles_required

managers_only = roles_required(*RIGHTS["settle_reminders"])
own_only = roles_required(*RIGHTS["set_reminders"])


@own_only
def reminders(request: HttpRequest) -> HttpResponse:
    """Show and set how one is reminded."""
    setting = setting_of(request.user)
    initial = {**vars(setting), "days_before": ", ".join(str(day) for day in setting.days_before)}
    form = RemindersForm(request.POST or None, initial=initial)
    person: Any = request.user
    if carried_out(form, lambda: set_reminders(person=person, **form.cleaned_data, by=person)):
        messages.success(request, "Your reminders are set.")
        return redirect("equipment:reminders")
    context = {"form": form, "feed": calendar_feed_of(request.user)}
    return render(request, "equipment/reminders.html", context, status=422 if form.errors else 200)


@require_POST
@managers_only
def send_again(request: HttpRequest, digest_pk: int) -> HttpResponse:
    """Send a digest that may not have gone out."""
    digest = get_object_or_404(digests_in_doubt(), pk=digest_pk)
    services.send_again(digest=digest, by=request.user)
    messages.success(request, f"The reminder to {digest.user} goes out now.")
    return redirect("equipment:instruments")


@require_POST
@managers_only
def arrived(request: HttpRequest, digest_pk: int) -> HttpResponse:
    """Record that a digest which may not have gone out has arrived."""
    digest = get_object_or_404(digests_in_doubt(), pk=digest_pk)
    services.close_digest(digest=digest, by=request.user)
    messages.success(request, "It is noted that the reminder arrived.")
    return redirect("equipment:instruments")


@require_POST
@own_only
def renew(request: HttpRequest) -> HttpResponse:
    """Make a new secret address of one's calendar; it is shown this once."""
    secret = calendars.renew_calendar(by=request.user)
    address = request.build_absolute_uri(reverse("equipment:calendar", args=[secret]))
    return render(request, "equipment/calendar.html", {"address": address})


@require_POST
@own_only
def end(request: HttpRequest) -> HttpResponse:
    """End one's calendar address."""
    calendars.end_calendar(by=request.user)
    messages.success(request, "The address is ended; calendar programs that use it find nothing any more.")
    return redirect("equipment:reminders")


@require_GET
@login_not_required
def calendar(request: HttpRequest, secret: str) -> HttpResponse:
    """Give the due dates to a calendar program that knows the secret."""
    text = calendars.calendar_of(secret, timezone.localdate())
    if text is None:
        raise Http404("There is no calendar at this address.")
    answer = HttpResponse(text, content_type="text/calendar; charset=utf-8")
    answer["Cache-Control"] = "private, no-store"
    return answer
