"""A run laid over others of its kind, and the phase-resolved pattern of its pulses."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from records.charts import overlay_figure, pattern_figure, pattern_of
from records.selectors.comparison import OVER_TIME, comparable_runs, layers_of, side_by_side
from records.selectors.digests import current_evaluation
from records.web import forms
from records.web.access import laboratory_only
from records.web.sheet import the_run

_TIMES = "from and to must be two times in seconds, the first earlier."


@require_GET
@laboratory_only
def compare(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a run with the runs chosen on top of each other, and their findings side by side."""
    run = the_run(request, pk)
    form = forms.OverlayForm(request.GET if "with" in request.GET else None, runs=comparable_runs(run, request.user))
    others = form.chosen if form.is_valid() else []
    context = {
        "run": run,
        "form": form,
        "others": others,
        "table": side_by_side(run, others),
        "is_drawn": run.step.kind in OVER_TIME,
        "address": _address(pk, [other.pk for other in others]),
    }
    return render(request, "records/compare.html", context, status=422 if form.errors else 200)


def _address(pk: int, others: list[int]) -> str:
    query = urlencode([("with", other) for other in others])
    return f"{reverse('records:compare-figure', args=[pk])}?{query}"


@require_GET
@laboratory_only
def compare_figure(request: HttpRequest, pk: int) -> JsonResponse:
    """Give the picture of a run and the runs chosen; `from` and `to` ask for the detail of a window."""
    run = the_run(request, pk)
    form = forms.OverlayForm(request.GET, runs=comparable_runs(run, request.user))
    if not form.is_valid():
        return JsonResponse({"detail": "Choose one to three runs of this kind."}, status=400)
    layers = layers_of(run, form.chosen)
    if not layers:
        return JsonResponse({"detail": "No record of these runs can be drawn over time."}, status=404)
    window = forms.window_of(request.GET)
    if window is None and ("from" in request.GET or "to" in request.GET):
        return JsonResponse({"detail": _TIMES}, status=400)
    return JsonResponse(overlay_figure(layers, window=window))


@require_GET
@laboratory_only
def pattern(request: HttpRequest, pk: int) -> JsonResponse:
    """Give the phase-resolved pattern of the evaluation that counts."""
    evaluation = current_evaluation(the_run(request, pk))
    shown = pattern_of(evaluation) if evaluation is not None else None
    if shown is None:
        return JsonResponse({"detail": "The record of this run lists no pulses with their phase."}, status=404)
    return JsonResponse(pattern_figure(shown))
