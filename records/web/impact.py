"""Pages of nonconforming work: what a wrong instrument touched, decided run by run."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from labsite.ledger.selectors import history_of
from labsite.people.roles import Role
from records.models import AffectedRun, NonconformingWork
from records.models.impact import Effect
from records.selectors import impact as reads
from records.services import impact
from records.services.delivery import impact_file
from records.services.refusals import Refused
from records.web.access import deciders_only, laboratory_only
from records.web.forms import ReasonForm
from records.web.impact_forms import CloseForm, DecideForm, LetterForm, SentForm

PAGE_SIZE = 50


def _work(request: HttpRequest, pk: int) -> NonconformingWork:
    return get_object_or_404(NonconformingWork.objects.visible_to(request.user).for_list(), pk=pk)


def _may_decide(request: HttpRequest) -> bool:
    user: Any = request.user
    return bool(user.has_role(Role.QUALITY_MANAGER, Role.APPROVER))


@require_GET
@laboratory_only
def impacts(request: HttpRequest) -> HttpResponse:
    """List nonconforming work, the newest first."""
    found = NonconformingWork.objects.visible_to(request.user).for_list()
    page = Paginator(found, PAGE_SIZE).get_page(request.GET.get("page"))
    return render(request, "impact/list.html", {"page_obj": page})


@require_GET
@laboratory_only
def of_calibration(request: HttpRequest, pk: int) -> HttpResponse:
    """Lead to the work that a calibration opened: the door for pages below that do not know this room."""
    works = NonconformingWork.objects.visible_to(request.user)
    return redirect("records:impact", get_object_or_404(works, calibration_id=pk).pk)


@require_GET
@laboratory_only
def work(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one piece of work."""
    return _shown(request, _work(request, pk))


def _shown(request: HttpRequest, found: NonconformingWork, status: int = 200, **forms: Any) -> HttpResponse:
    asked = request.GET.get("effect", "")
    effect = asked if asked in Effect.values else ""
    page = Paginator(reads.affected_runs(found, effect), PAGE_SIZE).get_page(request.GET.get("page"))
    context = {
        "work": found,
        "counts": reads.effect_counts(found),
        "effect": effect,
        "page_obj": page,
        "rows": reads.as_shown(list(page)),
        "letters": reads.letters_of(found),
        "may_decide": _may_decide(request),
        "stand_form": ReasonForm(prefix="stand"),
        "close_form": CloseForm(prefix="close"),
        "entries": history_of("records.nonconformingwork", found.pk, request.user),
    }
    return render(request, "impact/detail.html", {**context, **forms}, status=status)


def _do(request: HttpRequest, form: Any, deed: Callable[[], Any], words: str) -> bool:
    """Carry a deed out, or put into the form what stands against it."""
    if not form.is_valid():
        return False
    try:
        deed()
    except Refused as refused:
        form.refuse(refused)
        return False
    messages.success(request, words)
    return True


@laboratory_only
def affected_run(request: HttpRequest, pk: int, affected_pk: int) -> HttpResponse:
    """Show one affected run with its numbers, and decide it."""
    found = _work(request, pk)
    row: AffectedRun = get_object_or_404(reads.affected_runs(found), pk=affected_pk)
    form = DecideForm(request.POST if request.method == "POST" else None)
    said = "The decision is recorded; nothing else was changed."
    if request.method == "POST" and _do(
        request, form, lambda: impact.decide_run(affected=row, **form.cleaned_data, by=request.user), said
    ):
        return redirect("records:impact", pk)
    context = {
        "work": found,
        "affected": row,
        "findings": reads.findings_of(row),
        "percent": round(100 * row.part),
        "form": form,
        "may_decide": _may_decide(request),
    }
    return render(request, "impact/run.html", context, status=422 if form.errors else 200)


@require_POST
@deciders_only
def all_stand(request: HttpRequest, pk: int) -> HttpResponse:
    """Record that every run that stands under both assumptions stands."""
    found = _work(request, pk)
    form = ReasonForm(request.POST, prefix="stand")
    deed = lambda: impact.decide_all_that_stand(work=found, **form.cleaned_data, by=request.user)  # noqa: E731
    if _do(request, form, deed, "These results stand."):
        return redirect("records:impact", pk)
    return _shown(request, found, 422, stand_form=form)


@require_POST
@deciders_only
def close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close the work."""
    found = _work(request, pk)
    form = CloseForm(request.POST, prefix="close")
    deed = lambda: impact.close_work(work=found, **form.cleaned_data, by=request.user)  # noqa: E731
    if _do(request, form, deed, "The work is closed."):
        return redirect("records:impact", pk)
    return _shown(request, found, 422, close_form=form)


@require_POST
@deciders_only
def compose(request: HttpRequest, pk: int) -> HttpResponse:
    """Have the document for the file composed."""
    job = impact.ask_for_document(work=_work(request, pk), by=request.user)
    messages.info(request, f"The document is being composed ({job.get_state_display().lower()}); look again shortly.")
    return redirect("records:impact", pk)


@require_GET
@laboratory_only
def document(request: HttpRequest, pk: int) -> HttpResponse:
    """Hand out the document for the file."""
    return impact_file(_work(request, pk))


@laboratory_only
def letter(request: HttpRequest, pk: int, letter_pk: int) -> HttpResponse:
    """Show a letter; while it is a draft, edit it."""
    return _letter(request, pk, letter_pk)


def _letter(request: HttpRequest, pk: int, letter_pk: int, sent_form: SentForm | None = None) -> HttpResponse:
    found = _work(request, pk)
    row = get_object_or_404(reads.letters_of(found), pk=letter_pk)
    sent = request.POST if request.method == "POST" and sent_form is None else None
    form = LetterForm(sent, initial={"version": row.version, "text": row.text})
    if sent is not None and _do(
        request,
        form,
        lambda: impact.edit_letter(letter=row, **form.cleaned_data, by=request.user),
        "The draft is stored.",
    ):
        return redirect("records:impact-letter", pk, letter_pk)
    context = {"work": found, "letter": row, "form": form, "sent_form": sent_form or SentForm()}
    return render(request, "impact/letter.html", context, status=422 if form.errors or sent_form else 200)


@require_POST
@deciders_only
def letter_sent(request: HttpRequest, pk: int, letter_pk: int) -> HttpResponse:
    """Record that a letter was sent."""
    row = get_object_or_404(reads.letters_of(_work(request, pk)), pk=letter_pk)
    form = SentForm(request.POST)
    deed = lambda: impact.mark_letter_sent(letter=row, **form.cleaned_data, by=request.user)  # noqa: E731
    if _do(request, form, deed, "It is recorded that the letter was sent."):
        return redirect("records:impact", pk)
    return _letter(request, pk, letter_pk, form)
