"""A plot for the browser: data and layout, colours as tokens."""

from __future__ import annotations

import math
from typing import Any

from records.charts.plot import Curve, Pane, Plot, Point, Region

_LINES = {
    "main": {"color": "token:accent", "width": 1.5},
    "fit": {"color": "token:bad", "width": 1.5, "dash": "dash"},
    "third": {"color": "token:ink", "width": 1.2, "dash": "dot"},
    "faint": {"color": "token:ink-2", "width": 1, "dash": "dashdot"},
}
_GAP, _WIDE_GAP = 0.14, 0.24  # of the height, between two panes: wide where the upper one has an axis of its own


def plot_figure(plot: Plot, *, window: tuple[float, float] | None = None) -> dict[str, Any]:
    """Return data and layout for the browser's chart; colours are tokens that it resolves by light or dark.

    Parameters
    ----------
    plot : Plot
        Whole curves.
    window : tuple of float, optional
        Places to show in detail in the panes that share the first axis.

    Returns
    -------
    dict
        ``data`` (one trace a curve) and ``layout`` (panes under one another, each value axis on its own pane).
    """
    shown = plot.thinned(window)
    data: list[dict[str, Any]] = []
    layout: dict[str, Any] = {"shapes": [], "annotations": [], "dragmode": "zoom", "showlegend": True}
    layout["legend"] = {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom", "bgcolor": "rgba(0,0,0,0)"}
    layout["margin"] = {"l": 64, "r": 12, "t": 44, "b": 48}
    named: set[str] = set()
    gap = _WIDE_GAP if any(pane.is_detail for pane in shown.panes) else _GAP
    height = (1 - gap * (len(shown.panes) - 1)) / len(shown.panes)
    for place, pane in enumerate(shown.panes):
        top = 1 - place * (height + gap)
        x, y = _name("x", place if pane.is_detail else 0), _name("y", place)
        layout[f"yaxis{y[1:]}"] = _axis(pane.y_title, pane.y_range, is_log=pane.is_log_y) | {
            "domain": [max(top - height, 0.0), top],
            "anchor": x,
            "fixedrange": True,
        }
        layout[f"xaxis{x[1:]}"] = _axis(pane.x_title, pane.x_range, is_log=pane.is_log_x) | {
            "anchor": y,
            "fixedrange": pane.is_detail,
        }
        for curve in pane.curves:  # a name stands in the legend once, and hides its curve in every pane
            more = {"legendgroup": curve.name, "showlegend": curve.name not in named}
            data.append(_trace(curve, x, y) | more)
            named.add(curve.name)
        data += [_marks(pane.points, x, y)] if pane.points else []
        layout["shapes"] += [_shape(region, pane, x, y) for region in pane.regions]
        told = [region for region in pane.regions if region.words]
        layout["annotations"] += [_note(region, pane, x, y, nth) for nth, region in enumerate(told)]
    return {"data": data, "layout": layout}


_LINE_PX = 15


def _name(letter: str, place: int) -> str:
    return letter if place == 0 else f"{letter}{place + 1}"


def _axis(title: str, edges: tuple[float, float], *, is_log: bool) -> dict[str, Any]:
    shown = [math.log10(edge) for edge in edges] if is_log else list(edges)
    return {"title": {"text": title}, "range": shown, **({"type": "log"} if is_log else {})}


def _trace(curve: Curve, x: str, y: str) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": curve.name,
        "x": [float(f"{one:.7g}") for one in curve.x],
        "y": [float(f"{one:.6g}") for one in curve.y],
        "xaxis": x,
        "yaxis": y,
        "line": dict(_LINES[curve.tone]),
        "hovertemplate": f"{curve.name}: %{{y:.4~g}}<extra></extra>",
    }


def _marks(points: Any, x: str, y: str) -> dict[str, Any]:
    found: list[Point] = list(points)
    return {
        "type": "scatter",
        "mode": "markers+text",
        "name": "marks",
        "showlegend": False,
        "x": [point.x for point in found],
        "y": [point.y for point in found],
        "text": [point.words for point in found],
        "textposition": [point.side for point in found],
        "xaxis": x,
        "yaxis": y,
        "marker": {"color": "token:ink", "size": 7, "symbol": "circle-open"},
        "textfont": {"color": "token:ink-2", "size": 12},
        "hovertemplate": "%{text}<extra></extra>",
    }


def _shape(region: Region, pane: Pane, x: str, y: str) -> dict[str, Any]:
    x0, x1 = (edge if side is None else side for side, edge in zip(region.x, pane.x_range, strict=True))
    y0, y1 = (edge if side is None else side for side, edge in zip(region.y, pane.y_range, strict=True))
    return {
        "type": "rect",
        "layer": "below",
        "xref": x,
        "yref": y,
        "x0": x0,
        "x1": x1,
        "y0": y0,
        "y1": y1,
        "fillcolor": "token:limit" if region.is_limit else "token:band",
        "line": {"width": 0},
    }


def _note(region: Region, pane: Pane, x: str, y: str, nth: int) -> dict[str, Any]:
    """Return a region's words at its upper left corner, of one across the pane at its upper right.

    A note counts a logarithmic place across in powers of ten. Regions beside one another have their words one below
    the other, so that they can be told on a narrow screen.
    """
    is_across = region.x == (None, None)
    left = pane.x_range[1] if is_across else max(region.x[0] or pane.x_range[0], pane.x_range[0])
    top = pane.y_range[1] if region.y[1] is None else region.y[1]
    return {
        "text": region.words,
        "x": math.log10(left) if pane.is_log_x else left,
        "y": top,
        "xref": x,
        "yref": y,
        "showarrow": False,
        "yshift": 0 if is_across else -_LINE_PX * nth,
        "xanchor": "right" if is_across else "left",
        "yanchor": "top" if region.y[1] is None else "bottom",
        "font": {"color": "token:bad" if region.is_limit else "token:accent", "size": 12},
    }
