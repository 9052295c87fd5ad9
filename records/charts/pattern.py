"""The phase-resolved pattern as a picture: cells of like counts in few paths, the voltage wave behind them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from records.charts.vector import PRINT, svg_line, svg_rect, svg_sheet, svg_text, ticks_up_to

# Least count of each class; a class is drawn as one path, darker the more pulses a cell holds.
_CLASSES = (1, 2, 4, 10, 32, 100, 1000)
_OPACITIES = (0.34, 0.44, 0.54, 0.64, 0.76, 0.88, 1.0)  # the least is seen on the pale red beyond a limit too
_WAVE_SHARE = 0.92  # of the pane's half height
_TICKS_DEG = (0, 90, 180, 270, 360)
Corners = tuple[float, float, float, float]


@dataclass(frozen=True)
class Pattern:
    """What the picture shows: cells (column, row, count), numbers of cells, charge axis [pC], limit [pC], voltage [kV].

    The voltage is the r.m.s. value at which the pulses were recorded, None where it is not known.
    """

    cells: Sequence[Sequence[int]]
    phase_cells: int
    charge_cells: int
    bottom_pc: float
    top_pc: float
    pulses: int
    voltage_kv: float | None = None
    limit_pc: float | None = None

    @classmethod
    def from_details(cls, details: Mapping[str, Any]) -> Pattern | None:
        """Return the pattern that an evaluation kept, or None where it kept none."""
        kept = details.get("pattern")
        if not kept or not kept["cells"]:
            return None
        names = ("cells", "phase_cells", "charge_cells", "bottom_pc", "top_pc", "pulses", "voltage_kv", "limit_pc")
        return cls(**{name: kept.get(name) for name in names})

    @property
    def words(self) -> str:
        """Return in words what the picture shows."""
        at = "" if self.voltage_kv is None else f" at {self.voltage_kv:.4g} kV"
        most = max(self.cells, key=lambda cell: cell[2])
        low, high = (360 * (most[0] + add) / self.phase_cells for add in (0, 1))
        return (
            f"{self.pulses} pulses{at} by phase and charge, in {len(self.cells)} cells; most in one cell: {most[2]}, "
            f"between {low:.0f}° and {high:.0f}° and near {self._charge_at(most[1] + 0.5):.3g} pC."
        )

    def _charge_at(self, row: float) -> float:
        return self.bottom_pc + (self.top_pc - self.bottom_pc) * row / self.charge_cells

    def classes(self) -> list[tuple[str, float, list[Corners]]]:
        """Return the classes that hold cells: words, opacity, and the corners (phase, charge, phase, charge)."""
        bounds = pairwise((*_CLASSES, math.inf))
        found = []
        for (low, high), opacity in zip(bounds, _OPACITIES, strict=True):
            corners = [self._corners(column, row) for column, row, count in self.cells if low <= count < high]
            if corners:
                found.append((_class_words(low, high), opacity, corners))
        return found

    def _corners(self, column: int, row: int) -> Corners:
        width = 360 / self.phase_cells
        return column * width, self._charge_at(row), (column + 1) * width, self._charge_at(row + 1)

    def wave(self, points: int = 91) -> tuple[list[float], list[float]]:
        """Return the voltage wave, drawn into the charge axis without a scale of its own: phases [°] and heights."""
        phases = np.linspace(0.0, 360.0, points)
        middle, half = (self.top_pc + self.bottom_pc) / 2, (self.top_pc - self.bottom_pc) / 2
        heights = middle + _WAVE_SHARE * half * np.sin(np.radians(phases))
        return [float(f"{one:.5g}") for one in phases], [float(f"{one:.5g}") for one in heights]

    @property
    def wave_words(self) -> str:
        """Return what the wave is."""
        return "test voltage" if self.voltage_kv is None else f"test voltage, {self.voltage_kv:.4g} kV r.m.s."

    def limits(self) -> list[tuple[float, float]]:
        """Return the regions of charge beyond the limit that lie within the axis [pC]."""
        if self.limit_pc is None:
            return []
        beyond = [(self.limit_pc, self.top_pc)] if self.limit_pc < self.top_pc else []
        return [*beyond, *([(self.bottom_pc, -self.limit_pc)] if -self.limit_pc > self.bottom_pc else [])]


def _class_words(low: float, high: float) -> str:
    if high == math.inf:
        return f"{low:g} and more"
    return f"{low:g}" if high == low + 1 else f"{low:g} to {high - 1:g}"


def pattern_figure(pattern: Pattern) -> dict[str, Any]:
    """Return data and layout for the browser: one filled trace a class of counts, colours as tokens.

    Parameters
    ----------
    pattern : Pattern
        As it was counted.

    Returns
    -------
    dict
        ``data`` (the wave first, so that it lies behind) and ``layout``; one axis of charge, the wave has no scale.
    """
    phases, heights = pattern.wave()
    data: list[dict[str, Any]] = [
        {
            "type": "scatter",
            "mode": "lines",
            "name": pattern.wave_words,
            "x": phases,
            "y": heights,
            "line": {"color": "token:ink-3", "width": 1.5, "dash": "dot"},
            "hoverinfo": "skip",
        }
    ]
    for words, opacity, corners in pattern.classes():
        xs, ys = _outlines(corners)
        data.append(
            {
                "type": "scatter",
                "mode": "lines",
                "name": words,
                "x": xs,
                "y": ys,
                "fill": "toself",
                "fillcolor": "token:accent",
                "opacity": opacity,
                "line": {"color": "token:accent", "width": 0},
                "hoverinfo": "skip",
            }
        )
    return {"data": data, "layout": _layout(pattern)}


def _outlines(corners: Sequence[Corners]) -> tuple[list[float | None], list[float | None]]:
    """Return the outlines of cells one after another, with a gap between them."""
    xs: list[float | None] = []
    ys: list[float | None] = []
    for x0, y0, x1, y1 in corners:
        xs += [x0, x1, x1, x0, x0, None]
        ys += [float(f"{one:.6g}") for one in (y0, y0, y1, y1, y0)]
        ys.append(None)
    return xs, ys


def _layout(pattern: Pattern) -> dict[str, Any]:
    shapes = [
        {
            "type": "rect",
            "layer": "below",
            "xref": "paper",
            "yref": "y",
            "x0": 0,
            "x1": 1,
            "y0": low,
            "y1": high,
            "fillcolor": "token:limit",
            "line": {"width": 0},
        }
        for low, high in pattern.limits()
    ]
    return {
        "xaxis": {"title": {"text": "Phase (°)"}, "range": [0, 360], "tickvals": list(_TICKS_DEG), "fixedrange": True},
        "yaxis": {
            "title": {"text": "Charge (pC)"},
            "range": [pattern.bottom_pc, pattern.top_pc],
            "fixedrange": True,
        },
        "shapes": shapes,
        "showlegend": True,
        "legend": {"title": {"text": "Pulses in a cell"}, "orientation": "h", "y": -0.34},
        "margin": {"l": 64, "r": 12, "t": 12, "b": 130},
        "dragmode": False,
        "hovermode": False,
    }


def pattern_svg(pattern: Pattern, *, width: int = 680, height: int = 330) -> str:
    """Return the same picture as vector graphics for print: one path a class of counts.

    Parameters
    ----------
    pattern : Pattern
        As it was counted.
    width, height : int
        Of the sheet [user units].

    Returns
    -------
    str
        One svg element, without script and style.
    """
    left, right, top, foot = 62.0, 10.0, 18.0, 58.0
    across = (width - left - right) / 360
    down = (height - top - foot) / (pattern.top_pc - pattern.bottom_pc)
    base = height - foot

    def x_of(phase: float) -> float:
        return left + phase * across

    def y_of(charge: float) -> float:
        return base - (charge - pattern.bottom_pc) * down

    parts = [svg_rect(left, y_of(low), width - right, y_of(high), PRINT["limit"]) for low, high in pattern.limits()]
    for tick in _ticks(pattern):
        parts.append(svg_line(left, y_of(tick), width - right, y_of(tick), PRINT["line"]))
        parts.append(svg_text(left - 5, y_of(tick) + 3.5, f"{tick:g}".replace("-", "−"), PRINT["ink2"], "end"))
    points = "L".join(f"{x_of(x):.1f},{y_of(y):.1f}" for x, y in zip(*pattern.wave(), strict=True))
    parts.append(f'<path d="M{points}" fill="none" stroke="{PRINT["ink2"]}" stroke-width="1" stroke-dasharray="2 3"/>')
    for _, opacity, corners in pattern.classes():
        way = "".join(
            f"M{x_of(x0):.1f},{y_of(y0):.1f}H{x_of(x1):.1f}V{y_of(y1):.1f}H{x_of(x0):.1f}Z"
            for x0, y0, x1, y1 in corners
        )
        parts.append(f'<path d="{way}" fill="{PRINT["accent"]}" fill-opacity="{opacity:g}"/>')
    parts += [svg_text(x_of(tick), base + 13, f"{tick}", PRINT["ink2"], "middle") for tick in _TICKS_DEG]
    parts.append(svg_text(width - right, base + 27, f"Phase (°); dotted: {pattern.wave_words}", PRINT["ink2"], "end"))
    parts.append(svg_text(left - 56, top - 8, "Charge (pC)", PRINT["ink2"]))
    if pattern.limits():
        either = "± " if pattern.bottom_pc < 0 else ""
        words = f"limit {either}{pattern.limit_pc:g} pC"
        parts.append(svg_text(width - right, top - 4, words, PRINT["bad"], "end"))
    parts.append(_legend(pattern, left, base + 44))
    return svg_sheet(width, height, pattern.words, "".join(parts))


def _ticks(pattern: Pattern) -> list[float]:
    upper = ticks_up_to(pattern.top_pc)
    return upper if pattern.bottom_pc == 0 else [*(-tick for tick in reversed(upper[1:])), *upper]


def _legend(pattern: Pattern, left: float, y: float) -> str:
    parts = [svg_text(left, y, "Pulses in a cell:", PRINT["ink2"])]
    x = left + 84
    for words, opacity, _ in pattern.classes():
        parts.append(
            f'<rect x="{x:.1f}" y="{y - 8:.1f}" width="10" height="9" fill="{PRINT["accent"]}" '
            f'fill-opacity="{opacity:g}"/>'
        )
        parts.append(svg_text(x + 14, y, words, PRINT["ink2"]))
        x += 30 + 5.2 * len(words)
    return "".join(parts)
