"""The picture of an evaluation, whatever its kind: for the browser, for print, and in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from records.charts.browser import figure
from records.charts.curve import FittedCurve, curve_figure, curve_svg
from records.charts.loading import channels_of, picture_of, words_of
from records.charts.plot import Plot
from records.charts.plot_browser import plot_figure
from records.charts.plot_vector import plot_svg
from records.charts.vector import figure_svg
from records.charts.waves import impulse_plot, impulse_words, sweep_plot, sweep_words
from records.models import Evaluation
from records.models.procedure import document_of

# Kinds whose picture is a plot: where the evaluation keeps what it needs of each record, how it is drawn and said.
_PLOTS: Mapping[str, tuple[str, Callable[..., Plot], Callable[[Mapping[str, Any]], str]]] = {
    "lightning_impulse": ("impulses", impulse_plot, impulse_words),
    "frequency_response": ("sweeps", sweep_plot, sweep_words),
}


def curve_of(evaluation: Evaluation) -> FittedCurve | None:
    """Return the curve that an evaluation kept, as of a cooling winding or an insulation, or None."""
    return FittedCurve.from_details(evaluation.document.get("details") or {})


def plot_of(evaluation: Evaluation) -> Plot | None:
    """Return the plot of an evaluation with its whole curves, or None where its kind or its record has none."""
    kept, channels = _kept(evaluation), channels_of(evaluation)
    if kept is None or channels is None:
        return None
    _, draw, _ = _PLOTS[evaluation.run.step.kind]
    return draw(channels, kept, document_of(evaluation.run))


def _kept(evaluation: Evaluation) -> Mapping[str, Any] | None:
    """Return what the evaluation kept of its own record: the one of the same digest, else the first."""
    kind = evaluation.run.step.kind
    if kind not in _PLOTS:
        return None
    rows = (evaluation.document.get("details") or {}).get(_PLOTS[kind][0]) or ()
    same = (row for row in rows if row.get("sha256") == evaluation.record.sha256)
    return next(same, rows[0] if rows else None)


def figure_of(evaluation: Evaluation, first: str | None = None, last: str | None = None) -> dict[str, Any] | None:
    """Return the picture of an evaluation for the browser, or None where there is none.

    Raises ValueError where the window that a reader asked for is none.
    """
    curve = curve_of(evaluation)
    if curve is not None:
        return curve_figure(curve)
    plot = plot_of(evaluation)
    if plot is not None:
        return plot_figure(plot, window=plot.window(first, last))
    picture = picture_of(evaluation)
    return None if picture is None else figure(picture, window=picture.window(first, last))


def svg_of(evaluation: Evaluation) -> str | None:
    """Return the picture of an evaluation as one svg element for print, or None where there is none."""
    curve = curve_of(evaluation)
    if curve is not None:
        return curve_svg(curve)
    plot = plot_of(evaluation)
    if plot is not None:
        return plot_svg(plot)
    picture = picture_of(evaluation)
    return None if picture is None else figure_svg(picture)


def described(evaluation: Evaluation) -> str:
    """Return in words what the picture of an evaluation shows; empty where there is nothing to draw."""
    kept, curve = _kept(evaluation), curve_of(evaluation)
    if curve is not None:
        return curve.words
    if kept is not None:
        return _PLOTS[evaluation.run.step.kind][2](kept)
    is_table = "time_s" not in evaluation.record.summary.get("channels", ("time_s",))
    return "" if is_table else words_of(evaluation)
