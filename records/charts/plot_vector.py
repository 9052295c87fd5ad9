"""The same plot as vector graphics for print: one path a curve, light colours, no script, no style."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from records.charts.plot import Curve, Pane, Plot, Point, Region, Side, ticks_between
from records.charts.vector import PRINT, escaped, svg_label, svg_line, svg_rect, svg_text

_LEFT, _RIGHT, _TOP, _FOOT, _GAP = 62.0, 10.0, 18.0, 34.0, 48.0
_LINE = 11.0
_STROKES = {
    "main": (PRINT["accent"], "", 1.1),
    "fit": (PRINT["bad"], "5 3", 1.1),
    "third": (PRINT["ink"], "1.5 2", 0.9),
    "faint": (PRINT["ink2"], "6 2 1.5 2", 0.8),
}


@dataclass(frozen=True)
class _Sheet:
    """Where one pane lies on the sheet, and how values become places on it."""

    pane: Pane
    top: float
    width: float
    height: float

    def across(self, x: Any) -> Any:
        return _LEFT + _share(x, self.pane.x_range, is_log=self.pane.is_log_x) * self.width

    def down(self, y: Any) -> Any:
        return self.top + (1 - _share(y, self.pane.y_range, is_log=self.pane.is_log_y)) * self.height


def _share(value: Any, edges: tuple[float, float], *, is_log: bool) -> Any:
    low, high, shown = *edges, value
    if is_log:
        low, high, shown = np.log10(low), np.log10(high), np.log10(np.maximum(value, edges[0] * 1e-3))
    return np.clip((shown - low) / ((high - low) or 1.0), -0.02, 1.02)


def plot_svg(plot: Plot, *, width: int = 680, height: int = 400) -> str:
    """Return the plot as one svg element.

    Parameters
    ----------
    plot : Plot
        Whole curves; they are thinned to the same points as in the browser.
    width, height : int
        Of the sheet [user units].

    Returns
    -------
    str
        One svg element: one path a curve, texts as text.
    """
    shown = plot.thinned()
    room = (height - _TOP - _FOOT - _GAP * (len(shown.panes) - 1)) / len(shown.panes)
    parts = []
    for place, pane in enumerate(shown.panes):
        sheet = _Sheet(pane, _TOP + place * (room + _GAP), width - _LEFT - _RIGHT, room)
        parts += [_region(region, sheet) for region in pane.regions]
        parts.append(_axes(sheet))
        parts += [_path(curve, sheet) for curve in pane.curves if len(curve.x)]
        parts += [_point(point, sheet) for point in pane.points]
        told = [region for region in pane.regions if region.words]
        parts += [_words(region, sheet, nth) for nth, region in enumerate(told)]
        parts.append(_legend(sheet))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'role="img" font-family="Source Sans 3, sans-serif" font-size="10">'
        f"<title>{escaped(plot.words)}</title>{''.join(parts)}</svg>"
    )


def _path(curve: Curve, sheet: _Sheet) -> str:
    colour, dash, width = _STROKES[curve.tone]
    low, high = sheet.pane.y_range
    first, last = sheet.pane.x_range
    inside = (curve.y >= low) & (curve.y <= high) & (curve.x >= first) & (curve.x <= last)
    places = list(zip(sheet.across(curve.x), sheet.down(curve.y), inside, strict=True))
    way, is_drawn = "", False
    for x, y, is_inside in places:
        if is_inside:
            way += f"{'L' if is_drawn else 'M'}{x:.1f},{y:.1f}"
        is_drawn = bool(is_inside)
    if not way:
        return ""
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{way}" fill="none" stroke="{colour}" stroke-width="{width}" stroke-linejoin="round"{dashes}/>'


def _corners(region: Region, sheet: _Sheet) -> tuple[float, float, float, float]:
    pane = sheet.pane
    x0, x1 = (edge if side is None else side for side, edge in zip(region.x, pane.x_range, strict=True))
    y0, y1 = (edge if side is None else side for side, edge in zip(region.y, pane.y_range, strict=True))
    return float(sheet.across(x0)), float(sheet.down(y0)), float(sheet.across(x1)), float(sheet.down(y1))


def _region(region: Region, sheet: _Sheet) -> str:
    return svg_rect(*_corners(region, sheet), PRINT["limit"] if region.is_limit else PRINT["band"])


def _words(region: Region, sheet: _Sheet, nth: int) -> str:
    x0, _, x1, y1 = _corners(region, sheet)
    y = y1 - 3 if region.y[1] is not None else y1 + 10
    colour = PRINT["bad"] if region.is_limit else PRINT["accent"]
    if region.x == (None, None):  # a band across the pane is named at its right end, away from where a wave begins
        return svg_label(x1 - 2, y, region.words, colour, "end")
    return svg_label(x0 + 2, y + _LINE * nth, region.words, colour)


def _point(point: Point, sheet: _Sheet) -> str:
    x, y = float(sheet.across(point.x)), float(sheet.down(point.y))
    ring = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.6" fill="none" stroke="{PRINT["ink"]}" stroke-width="0.9"/>'
    away, down, anchor = _SIDES[point.side]
    return svg_label(x + away, y + down, point.words, PRINT["ink2"], anchor) + ring


_SIDES: Mapping[Side, tuple[float, float, str]] = {
    "middle right": (5.0, 3.0, "start"),
    "top right": (4.0, -4.0, "start"),
    "bottom right": (4.0, 10.0, "start"),
    "middle left": (-5.0, 3.0, "end"),
}


def _axes(sheet: _Sheet) -> str:
    pane, foot = sheet.pane, sheet.top + sheet.height
    parts = []
    for tick in ticks_between(*pane.y_range, is_log=pane.is_log_y):
        y = float(sheet.down(tick))
        parts.append(svg_line(_LEFT, y, _LEFT + sheet.width, y, PRINT["line"]))
        parts.append(svg_text(_LEFT - 5, y + 3.5, f"{tick:g}".replace("-", "−"), PRINT["ink2"], "end"))
    for tick in ticks_between(*pane.x_range, is_log=pane.is_log_x):
        words = f"{tick:g}".replace("-", "−")
        parts.append(svg_text(float(sheet.across(tick)), foot + 13, words, PRINT["ink2"], "middle"))
    parts.append(svg_line(_LEFT, foot, _LEFT + sheet.width, foot, PRINT["ink2"]))
    parts.append(svg_text(_LEFT - 56, sheet.top - 6, pane.y_title, PRINT["ink2"]))
    parts.append(svg_text(_LEFT + sheet.width, foot + 26, pane.x_title, PRINT["ink2"], "end"))
    return "".join(parts)


def _legend(sheet: _Sheet) -> str:
    """Return the curves' names in their colours above the pane, from the right; they differ by their dash too."""
    parts, right = [], _LEFT + sheet.width
    for curve in reversed(sheet.pane.curves):
        if not curve.name:
            continue
        colour, dash, _ = _STROKES[curve.tone]
        parts.append(svg_text(right, sheet.top - 6, curve.name, colour, "end"))
        right -= 4.6 * len(curve.name) + 4
        parts.append(svg_line(right - 18, sheet.top - 9, right, sheet.top - 9, colour, dash))
        right -= 28
    return "".join(parts)
