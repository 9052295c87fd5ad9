"""A run laid over others of its kind, and the phase-resolved pattern of its pulses."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from records.charts import overlay_figure, overlay_of, pattern_figure, pattern_of, patterns_figure, plot_figure
from records.charts.plot import Plot
from records.models import Run
from records.selectors.comparison import (
    DRAWN,
    OVER_TIME,
    comparable_runs,
    layers_of,
    likeness_rows,
    named_evaluations,
    patterns_in_words,
    patterns_of,
    side_by_side,
)
from records.selectors.digests import current_evaluation
from records.web import forms
from records.web.access import laboratory_only
from records.web.sheet import the_run

_PLACES = "from and to must be two places on the axis of the picture, the first before the last."
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
        "likeness": likeness_rows(run, others),
        "is_drawn": run.step.kind in DRAWN,
        "address": _address("compare-figure", pk, others),
        "pattern_words": patterns_in_words(run, others),
        "pattern_address": _address("compare-pattern", pk, others),
    }
    return render(request, "records/compare.html", context, status=422 if form.errors else 200)


def _address(name: str, pk: int, others: Sequence[Run]) -> str:
    return f"{reverse(f'records:{name}', args=[pk])}?{urlencode([('with', other.pk) for other in others])}"


@require_GET
@laboratory_only
def compare_figure(request: HttpRequest, pk: int) -> JsonResponse:
    """Give the picture of a run and the runs chosen; `from` and `to` ask for the detail of a window."""
    run = the_run(request, pk)
    form = forms.OverlayForm(request.GET, runs=comparable_runs(run, request.user))
    if not form.is_valid():
        return JsonResponse({"detail": "Choose one to three runs of this kind."}, status=400)
    if run.step.kind not in OVER_TIME:
        return _plotted(request, overlay_of(named_evaluations(run, form.chosen)))
    layers = layers_of(run, form.chosen)
    if not layers:
        return JsonResponse({"detail": "No record of these runs can be drawn over time."}, status=404)
    window = forms.window_of(request.GET)
    if window is None and ("from" in request.GET or "to" in request.GET):
        return JsonResponse({"detail": _TIMES}, status=400)
    return JsonResponse(overlay_figure(layers, window=window))


def _plotted(request: HttpRequest, plot: Plot | None) -> JsonResponse:
    """Give an overlay of curves, or the detail of a window of it."""
    if plot is None:
        return JsonResponse({"detail": "No record of these runs can be drawn."}, status=404)
    try:
        window = plot.window(request.GET.get("from"), request.GET.get("to"))
    except ValueError:
        return JsonResponse({"detail": _PLACES}, status=400)
    return JsonResponse(plot_figure(plot, window=window))


@require_GET
@laboratory_only
def compare_pattern(request: HttpRequest, pk: int) -> JsonResponse:
    """Give the pattern of a run with the outlines of the others' pulses over it."""
    run = the_run(request, pk)
    form = forms.OverlayForm(request.GET, runs=comparable_runs(run, request.user))
    if not form.is_valid():
        return JsonResponse({"detail": "Choose one to three runs of this kind."}, status=400)
    patterns = patterns_of(run, form.chosen)
    if len(patterns) < 2:
        return JsonResponse({"detail": "Fewer than two of these runs list pulses with their phase."}, status=404)
    return JsonResponse(patterns_figure(patterns))


@require_GET
@laboratory_only
def pattern(request: HttpRequest, pk: int) -> JsonResponse:
    """Give the phase-resolved pattern of the evaluation that counts."""
    evaluation = current_evaluation(the_run(request, pk))
    shown = pattern_of(evaluation) if evaluation is not None else None
    if shown is None:
        return JsonResponse({"detail": "The record of this run lists no pulses with their phase."}, status=404)
    return JsonResponse(pattern_figure(shown))
