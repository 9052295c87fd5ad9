"""A curve as a picture: readings, fitted lines and what was read from them; for the browser and for print alike."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from records.charts.vector import PRINT, svg_line, svg_rect, svg_sheet, svg_text, ticks_up_to

# Lines differ by their dash as well as by their colour; the first is the one that counts.
_STYLES = (("token:accent", "solid", ""), ("token:ink-2", "dash", "6 4"), ("token:ink-3", "dot", "2 3"))
_LEGEND_SIGNS = 30  # as many as a telephone shows beside the sample of a line
_MARGIN = 0.07  # of the span, so that no reading lies on the frame


@dataclass(frozen=True)
class FittedCurve:
    """What the picture shows, as an evaluation kept it; see `records.evaluation.curves.curve_details`."""

    titles: Sequence[str]
    words: str
    is_log: bool
    readings: Mapping[str, Sequence[float]]
    lines: Sequence[Mapping[str, Any]]
    points: Sequence[Mapping[str, Any]]
    limit: Mapping[str, Any] | None = None

    @classmethod
    def from_details(cls, details: Mapping[str, Any]) -> FittedCurve | None:
        """Return the curve that an evaluation kept, or None where it kept none."""
        kept = details.get("curve")
        return cls(**kept) if kept and kept["readings"]["x"] else None

    def span(self, axis: str) -> tuple[float, float]:
        """Return the ends of the axis ``x`` or ``y``, with room for every reading, line and point."""
        values = [*self.readings[axis], *(point[axis] for point in self.points)]
        values += [value for line in self.lines for value in line[axis]]
        shown = np.array([value for value in values if value > 0] if self.is_log else values)
        if self.is_log:
            shown = np.log10(shown)
        low, high = float(shown.min()), float(shown.max())
        room = _MARGIN * ((high - low) or abs(high) or 1.0)
        low, high = low - room, high + room
        return (10**low, 10**high) if self.is_log else (low, high)

    def forbidden(self) -> list[tuple[float, float]]:
        """Return the regions of the second axis that do not conform, cut to what is shown."""
        if self.limit is None:
            return []
        low, high = self.span("y")
        regions = []
        if self.limit["low"] is not None and self.limit["low"] > low:
            regions.append((low, min(self.limit["low"], high)))
        if self.limit["high"] is not None and self.limit["high"] < high:
            regions.append((max(self.limit["high"], low), high))
        return regions


def curve_figure(curve: FittedCurve) -> dict[str, Any]:
    """Return data and layout for the browser; colours are tokens that it resolves by light or dark.

    Parameters
    ----------
    curve : FittedCurve
        As it was evaluated.

    Returns
    -------
    dict
        ``data``: fitted lines, readings, and the values read with their uncertainty; ``layout``: one pane.
    """
    data = [_line(line, place) for place, line in enumerate(curve.lines)]
    data.append(_readings(curve))
    if curve.points:
        data.append(_points(curve))
    kind = "log" if curve.is_log else "linear"
    return {
        "data": data,
        "layout": {
            "xaxis": {"title": {"text": curve.titles[0]}, "type": kind, "range": _range(curve, "x")},
            "yaxis": {"title": {"text": curve.titles[1]}, "type": kind, "range": _range(curve, "y")},
            "shapes": [_region(low, high) for low, high in curve.forbidden()],
            "annotations": [*(_note(curve, place) for place in range(len(curve.points))), *_limit_notes(curve)],
            "showlegend": True,
            "legend": {"orientation": "h", "y": -0.25},
            "margin": {"l": 72, "r": 12, "t": 12, "b": 110},
            "hovermode": "closest",
            "dragmode": "zoom",
        },
    }


def _range(curve: FittedCurve, axis: str) -> list[float]:
    low, high = curve.span(axis)
    return [math.log10(low), math.log10(high)] if curve.is_log else [low, high]


def _line(line: Mapping[str, Any], place: int) -> dict[str, Any]:
    colour, dash, _ = _STYLES[min(place, len(_STYLES) - 1)]
    return {
        "type": "scatter",
        "mode": "lines",
        "name": "<br>".join(textwrap.wrap(line["title"], _LEGEND_SIGNS)),
        "x": list(line["x"]),
        "y": list(line["y"]),
        "line": {"color": colour, "width": 1.5, "dash": dash},
        "hoverinfo": "skip",
    }


def _readings(curve: FittedCurve) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "readings",
        "x": list(curve.readings["x"]),
        "y": list(curve.readings["y"]),
        "marker": {"color": "token:ink", "size": 4},
        "hovertemplate": "%{y:.6~g} at %{x:.5~g} s<extra></extra>",
    }


def _points(curve: FittedCurve) -> dict[str, Any]:
    bars = [point["expanded_uncertainty"] or 0.0 for point in curve.points]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "read, with expanded uncertainty",
        "x": [point["x"] for point in curve.points],
        "y": [point["y"] for point in curve.points],
        "error_y": {"type": "data", "array": bars, "color": "token:accent", "thickness": 1.5},
        "marker": {"color": "token:accent", "size": 10, "symbol": "diamond"},
        "text": [point["words"] for point in curve.points],
        "hovertemplate": "%{text}<extra></extra>",
    }


def _region(low: float, high: float) -> dict[str, Any]:
    edges = {"x0": 0, "x1": 1, "y0": low, "y1": high}
    look = {"fillcolor": "token:limit", "line": {"width": 0}}
    return {"type": "rect", "layer": "below", "xref": "paper", "yref": "y", **edges, **look}


def _note(curve: FittedCurve, place: int) -> dict[str, Any]:
    point = curve.points[place]
    across = math.log10(point["x"]) if curve.is_log else point["x"]
    return {
        "text": point["words"],
        "x": across,
        "y": point["y"],
        "xref": "x",
        "yref": "y",
        "showarrow": False,
        "xanchor": "left" if place == 0 else "right",
        "yanchor": "top" if _is_below(curve, place) else "bottom",
        "xshift": 8 if place == 0 else -8,
        "font": {"color": "token:accent", "size": 12},
    }


def _limit_notes(curve: FittedCurve) -> list[dict[str, Any]]:
    """Return the words of the limit at the edge of what does not conform, where that is shown."""
    edges = [value for value in (curve.limit or {}).values() if isinstance(value, float)]
    if curve.limit is None or not curve.forbidden():
        return []
    place = {"x": 1, "y": edges[0], "xref": "paper", "yref": "y", "xanchor": "right", "yanchor": "top"}
    return [{"text": curve.limit["words"], **place, "showarrow": False, "font": {"color": "token:bad", "size": 12}}]


def _is_below(curve: FittedCurve, place: int) -> bool:
    """Return whether the words of a point stand below it: right of a rising curve's first point, so beside the line."""
    return place == 0 and curve.is_log


@dataclass(frozen=True)
class _Sheet:
    """Where values lie on the printed sheet."""

    curve: FittedCurve
    left: float
    top: float
    width: float
    height: float

    def across(self, values: Any) -> Any:
        """Return where places of the first axis lie across the sheet."""
        return self.left + self.width * self._share(values, "x")

    def down(self, values: Any) -> Any:
        """Return where places of the second axis lie down the sheet."""
        return self.top + self.height * (1 - self._share(values, "y"))

    def _share(self, values: Any, axis: str) -> Any:
        low, high = self.curve.span(axis)
        shown = np.asarray(values, dtype=float)
        if self.curve.is_log:
            low, high, shown = math.log10(low), math.log10(high), np.log10(np.maximum(shown, low))
        return np.clip((shown - low) / (high - low), 0.0, 1.0)


def curve_svg(curve: FittedCurve, *, width: int = 680, height: int = 360) -> str:
    """Return the same picture as vector graphics for print: one path a line, one for all readings.

    Parameters
    ----------
    curve : FittedCurve
        As it was evaluated.
    width, height : int
        Of the sheet [user units].

    Returns
    -------
    str
        One svg element, without script and style.
    """
    legend = 15.0 * (len(curve.lines) + bool(curve.limit))
    sheet = _Sheet(curve, 72.0, 18.0, width - 86.0, height - 58.0 - legend)
    right, foot = sheet.left + sheet.width, sheet.top + sheet.height
    parts = [
        svg_rect(sheet.left, float(sheet.down(low)), right, float(sheet.down(high)), PRINT["limit"])
        for low, high in curve.forbidden()
    ]
    parts += [_frame(sheet, right, foot), *(_svg_fitted(sheet, line, n) for n, line in enumerate(curve.lines))]
    parts.append(_svg_readings(sheet))
    parts += [_svg_point(sheet, point, place) for place, point in enumerate(curve.points)]
    parts.append(_svg_legend(curve, sheet.left, foot + 44))
    return svg_sheet(width, height, curve.words, "".join(parts))


def _frame(sheet: _Sheet, right: float, foot: float) -> str:
    parts = []
    for tick in _ticks(sheet.curve, "y"):
        y = float(sheet.down(tick))
        parts.append(svg_line(sheet.left, y, right, y, PRINT["line"]))
        parts.append(svg_text(sheet.left - 5, y + 3.5, f"{tick:g}", PRINT["ink2"], "end"))
    parts.append(svg_line(sheet.left, foot, right, foot, PRINT["ink2"]))
    for tick in _ticks(sheet.curve, "x"):
        parts.append(svg_text(float(sheet.across(tick)), foot + 13, f"{tick:g}", PRINT["ink2"], "middle"))
    parts.append(svg_text(right, foot + 27, sheet.curve.titles[0], PRINT["ink2"], "end"))
    parts.append(svg_text(sheet.left - 66, sheet.top - 6, sheet.curve.titles[1], PRINT["ink2"]))
    return "".join(parts)


def _ticks(curve: FittedCurve, axis: str) -> list[float]:
    """Return round values within the axis, some four to ten."""
    low, high = curve.span(axis)
    if curve.is_log:
        exponents = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
        marks = [factor * 10.0**exponent for exponent in exponents for factor in (1, 2, 5)]
        return [mark for mark in marks if low <= mark <= high]
    steps = ticks_up_to(high - low)
    size = steps[1] - steps[0] if len(steps) > 1 else high - low
    first = math.ceil(low / size)
    return [round((first + place) * size, 10) for place in range(int((high - first * size) / size) + 1)]


def _way(sheet: _Sheet, line: Mapping[str, Any]) -> str:
    places = zip(sheet.across(line["x"]), sheet.down(line["y"]), strict=True)
    return "L".join(f"{x:.1f},{y:.1f}" for x, y in places)


def _svg_fitted(sheet: _Sheet, line: Mapping[str, Any], place: int) -> str:
    dash, colour = _look(place)
    return f'<path d="M{_way(sheet, line)}" fill="none" stroke="{colour}" stroke-width="1.2"{dash}/>'


def _look(place: int) -> tuple[str, str]:
    dash = _STYLES[min(place, len(_STYLES) - 1)][2]
    return (f' stroke-dasharray="{dash}"' if dash else ""), PRINT["ink2"] if place else PRINT["accent"]


def _svg_readings(sheet: _Sheet) -> str:
    readings = sheet.curve.readings
    places = zip(sheet.across(readings["x"]), sheet.down(readings["y"]), strict=True)
    # A dot is a line without length and with round ends: one path holds all of them.
    dots = "".join(f"M{x:.1f},{y:.1f}h0" for x, y in places)
    return f'<path d="{dots}" fill="none" stroke="{PRINT["ink"]}" stroke-width="2.4" stroke-linecap="round"/>'


def _svg_point(sheet: _Sheet, point: Mapping[str, Any], place: int) -> str:
    x, y, u = float(sheet.across(point["x"])), float(sheet.down(point["y"])), point["expanded_uncertainty"] or 0.0
    bar = svg_line(x, float(sheet.down(point["y"] - u)), x, float(sheet.down(point["y"] + u)), PRINT["accent"])
    mark = f'<path d="M{x:.1f},{y - 5:.1f}l5,5l-5,5l-5,-5Z" fill="{PRINT["accent"]}"/>'
    shift, anchor = ((9, "start"), (-9, "end"))[min(place, 1)]
    height = y + 14 if _is_below(sheet.curve, place) else y - 5
    return bar + mark + svg_text(x + shift, height, point["words"], PRINT["accent"], anchor)


def _svg_legend(curve: FittedCurve, left: float, y: float) -> str:
    parts = []
    for place, line in enumerate(curve.lines):
        dash, colour = _look(place)
        height = y + 15 * place
        parts.append(
            f'<path d="M{left:.1f},{height - 3.5:.1f}h24" fill="none" stroke="{colour}" stroke-width="1.2"{dash}/>'
        )
        parts.append(svg_text(left + 30, height, line["title"], PRINT["ink2"]))
    if curve.limit is not None:
        height = y + 15 * len(curve.lines)
        parts.append(svg_rect(left, height - 8, left + 24, height + 1, PRINT["limit"]))
        parts.append(svg_text(left + 30, height, curve.limit["words"], PRINT["ink2"]))
    return "".join(parts)
