"""The same picture as vector graphics for print: one path a quantity, light colours, no script, no style."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from records.charts.picture import Mark, Picture, band_words, fallback, mark_words
from records.evaluation.thinning import thin
from records.readers.recording import Samples

_SIGN = 4.6  # width of a sign, on average, of text of size 10
_DOT = 1.2  # width and height of the cells in which single pulses are drawn
_FLOOR_PC = 0.1  # the logarithmic axis begins here at the lowest
# The light set of the design tokens, on white.
PRINT = {
    "accent": "#0b5a7a",
    "ink": "#16202b",
    "ink2": "#51606f",
    "line": "#c6ccd1",
    "band": "#dcebf1",
    "limit": "#f6dcd8",
    "ground": "#ffffff",
}
PRINT["bad"] = "#a3261f"


@dataclass(frozen=True)
class _Pane:
    """One pane of the printed picture: place on the sheet and the values at its edges."""

    left: float
    top: float
    width: float
    height: float
    x: tuple[float, float]
    y: tuple[float, float]
    is_log: bool = False

    def across(self, time_s: Any) -> Any:
        """Return where times lie across the sheet."""
        return self.left + (time_s - self.x[0]) / ((self.x[1] - self.x[0]) or 1.0) * self.width

    def down(self, value: Any) -> Any:
        """Return where values lie down the sheet."""
        low, high, shown = self.y[0], self.y[1], value
        if self.is_log:
            low, high = math.log10(low), math.log10(high)
            shown = np.log10(np.maximum(value, self.y[0]))
        return self.top + self.height - (shown - low) / ((high - low) or 1.0) * self.height


def figure_svg(picture: Picture, *, width: int = 680, height: int = 400, log: bool = True) -> str:
    """Return the same picture as vector graphics for print: one path a quantity, light colours, no script, no style.

    Parameters
    ----------
    picture : Picture
        Whole arrays.
    width, height : int
        Of the sheet [user units].
    log : bool
        Whether the charge axis is logarithmic.

    Returns
    -------
    str
        One svg element.
    """
    left, right, top, foot, gap = 62.0, 10.0, 18.0, 34.0, 26.0
    room = height - top - foot
    span = picture.span
    has_charge = picture.charge_pc is not None
    upper_height = (room - gap) * 0.52 if has_charge else room
    upper = _Pane(left, top, width - left - right, upper_height, span, (0.0, picture.top_kv))
    parts = [_svg_voltage(picture, upper)]
    lowest = upper
    if picture.charge_pc is not None:
        is_log = log
        floor = max(_FLOOR_PC, 10 ** math.floor(math.log10(max(float(np.median(picture.charge_pc)) / 3, _FLOOR_PC))))
        edges = (floor, max(picture.top_pc, 10 * floor)) if is_log else (0.0, picture.top_pc)
        lowest = _Pane(
            left, top + upper_height + gap, width - left - right, room - gap - upper_height, span, edges, is_log
        )
        parts.append(_svg_charge(picture, lowest))
    parts += [_svg_mark(mark, upper, lowest, place) for place, mark in enumerate(picture.marks)]
    parts.append(_svg_time(lowest))
    return svg_sheet(width, height, picture.words or "Voltage and charge against time", "".join(parts))


def svg_sheet(width: int, height: int, title: str, content: str) -> str:
    """Return one svg element of a size, with its words as title."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'role="img" font-family="Source Sans 3, sans-serif" font-size="10">'
        f"<title>{escaped(title)}</title>{content}</svg>"
    )


def escaped(text: str) -> str:
    """Return text as an svg element may hold it."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")


def svg_text(x: float, y: float, text: str, colour: str, anchor: str = "start") -> str:
    """Return a text at a place."""
    return f'<text x="{x:.1f}" y="{y:.1f}" fill="{colour}" text-anchor="{anchor}">{escaped(text)}</text>'


def svg_label(x: float, y: float, text: str, colour: str, anchor: str = "start") -> str:
    """Return a text over lines: a pale ground under it keeps it readable."""
    wide = _SIGN * len(text) + 2
    left = {"start": x - 1, "end": x - wide + 1}.get(anchor, x - wide / 2)
    ground = (
        f'<rect x="{left:.1f}" y="{y - 8.5:.1f}" width="{wide:.1f}" height="11" fill="{PRINT["ground"]}" '
        'fill-opacity="0.8"/>'
    )
    return ground + svg_text(x, y, text, colour, anchor)


def svg_rect(x0: float, y0: float, x1: float, y1: float, colour: str) -> str:
    """Return a filled region between two corners."""
    return (
        f'<rect x="{x0:.1f}" y="{min(y0, y1):.1f}" width="{max(x1 - x0, 0):.1f}" height="{abs(y1 - y0):.1f}" '
        f'fill="{colour}"/>'
    )


def svg_line(x0: float, y0: float, x1: float, y1: float, colour: str, dash: str = "") -> str:
    """Return a thin line, dashed where a dash is given."""
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}" stroke="{colour}" stroke-width="0.8"{dashes}/>'
    )


def _svg_path(pane: _Pane, time_s: Samples, values: Samples, colour: str) -> str:
    times, thinned = thin(time_s, values, 1200)
    points = zip(pane.across(times), pane.down(thinned), strict=True)
    way = "L".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return f'<path d="M{way}" fill="none" stroke="{colour}" stroke-width="1.1" stroke-linejoin="round"/>'


def _svg_dots(pane: _Pane, time_s: Samples, values: Samples, colour: str) -> str:
    """Return single pulses as one path of dots: a cell that holds any is filled, those side by side as one dash."""
    places = np.column_stack([np.floor(pane.down(values) / _DOT), np.floor(pane.across(time_s) / _DOT)]).astype(int)
    rows, columns = np.unique(places, axis=0).T
    begins = np.flatnonzero(np.concatenate(([True], (np.diff(rows) != 0) | (np.diff(columns) != 1))))
    ends = np.concatenate((begins[1:], [len(rows)]))
    dashes = [
        f"M{columns[begin] * _DOT:.1f},{(rows[begin] + 0.5) * _DOT:.1f}h{(end - begin) * _DOT:.1f}"
        for begin, end in zip(begins, ends, strict=True)
        if end > begin
    ]
    return f'<path d="{"".join(dashes)}" fill="none" stroke="{colour}" stroke-width="{_DOT}"/>'


def _svg_axis(pane: _Pane, ticks: Sequence[float], title: str) -> str:
    parts = []
    for tick in ticks:
        y = float(pane.down(tick))
        parts.append(svg_line(pane.left, y, pane.left + pane.width, y, PRINT["line"]))
        parts.append(svg_text(pane.left - 5, y + 3.5, f"{tick:g}", PRINT["ink2"], "end"))
    parts.append(svg_text(pane.left - 56, pane.top - 6, title, PRINT["ink2"]))
    return "".join(parts)


def _svg_voltage(picture: Picture, pane: _Pane) -> str:
    first, last = picture.span
    parts = []
    for band in picture.bands:
        x0, x1 = float(pane.across(fallback(band.start_s, first))), float(pane.across(fallback(band.end_s, last)))
        parts.append(svg_rect(x0, float(pane.down(band.low_kv)), x1, float(pane.down(band.high_kv)), PRINT["band"]))
    parts.append(_svg_axis(pane, ticks_up_to(picture.top_kv), "Voltage (kV)"))
    parts.append(_svg_path(pane, picture.time_s, picture.voltage_kv, PRINT["accent"]))
    for band in picture.bands:
        x0 = float(pane.across(fallback(band.start_s, first)))
        parts.append(svg_label(x0 + 5, float(pane.down(band.high_kv)) - 4, band_words(band), PRINT["accent"]))
    return "".join(parts)


def _svg_charge(picture: Picture, pane: _Pane) -> str:
    assert picture.charge_pc is not None
    parts, ticks = [], _decades(pane.y) if pane.is_log else ticks_up_to(picture.top_pc)
    if picture.limit_pc is not None:
        y = float(pane.down(picture.limit_pc))
        parts.append(svg_rect(pane.left, pane.top, pane.left + pane.width, y, PRINT["limit"]))
    parts.append(_svg_axis(pane, ticks, "Charge (pC)"))
    draw = _svg_path if picture.charge_time_s is None else _svg_dots
    parts.append(draw(pane, picture.charge_times, picture.charge_pc, PRINT["ink"]))
    if picture.limit_pc is not None:
        parts.append(svg_line(pane.left, y, pane.left + pane.width, y, PRINT["bad"], "4 3"))
        parts.append(svg_text(pane.left + pane.width, y - 3, f"limit {picture.limit_pc:g} pC", PRINT["bad"], "end"))
    return "".join(parts)


def _svg_mark(mark: Mark, upper: _Pane, lowest: _Pane, place: int) -> str:
    x = float(upper.across(mark.time_s))
    line = svg_line(x, upper.top, x, lowest.top + lowest.height, PRINT["ink2"], "1.5 2.5")
    # between the panes, where nothing is drawn; in a single pane at its top
    y = lowest.top - 4 - 11 * (place % 2) if lowest is not upper else upper.top + 9 + 11 * (place % 2)
    is_right = x > upper.left + 0.8 * upper.width
    at, anchor = (x - 3, "end") if is_right else (x + 3, "start")
    return line + svg_label(at, y, mark_words(mark), PRINT["ink2"], anchor)


def _svg_time(pane: _Pane) -> str:
    foot = pane.top + pane.height
    parts = [svg_line(pane.left, foot, pane.left + pane.width, foot, PRINT["ink2"])]
    first, last = pane.x
    for tick in ticks_up_to(last):
        if tick >= first:
            parts.append(svg_text(float(pane.across(tick)), foot + 13, f"{tick:g}", PRINT["ink2"], "middle"))
    parts.append(svg_text(pane.left + pane.width, foot + 27, "Time (s)", PRINT["ink2"], "end"))
    return "".join(parts)


def ticks_up_to(top: float) -> list[float]:
    """Return some four to eight round values from 0 to the top of an axis."""
    if not (math.isfinite(top) and top > 0):
        return [0.0]
    raw = top / 6
    size = 10 ** math.floor(math.log10(raw))
    step = next(factor * size for factor in (1, 2, 5, 10) if factor * size >= raw)
    return [round(place * step, 10) for place in range(int(top / step) + 1)]


def _decades(edges: tuple[float, float]) -> list[float]:
    first, last = math.ceil(math.log10(edges[0]) - 1e-9), math.floor(math.log10(edges[1]) + 1e-9)
    return [10.0**power for power in range(first, last + 1)]
