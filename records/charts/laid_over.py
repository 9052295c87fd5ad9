"""Sweeps, impulses and curves of several runs on top of each other, and the outlines of patterns over one of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from records.charts.curve import FittedCurve
from records.charts.overlay import MOST_LAYERS
from records.charts.pattern import Pattern, pattern_figure
from records.charts.plot import Curve, Pane, Plot, Tone, padded
from records.evaluation.impulse.telling import curves_of
from records.evaluation.sweep.telling import trace_of
from records.readers.recording import Samples

_TONES: tuple[Tone, ...] = ("main", "fit", "third", "faint")  # they differ by dash as well as by colour
_IMPULSE_US = (-1.0, 60.0)
_DASHES = (("token:bad", "dash"), ("token:ink", "dot"), ("token:ok", "dashdot"))


@dataclass(frozen=True)
class Overlaid:
    """One run of an overlay: its name, the arrays of its record, and what its evaluation kept for the picture."""

    name: str
    channels: Mapping[str, Samples]
    drawn: Mapping[str, Any]


def _require_few(count: int) -> None:
    if not 1 <= count <= MOST_LAYERS:
        raise ValueError(f"An overlay shows one to {MOST_LAYERS} runs.")


def sweeps_over(runs: Sequence[Overlaid]) -> Plot:
    """Return sweeps on top of each other: magnitude above phase on one logarithmic axis of frequency.

    Parameters
    ----------
    runs : sequence of Overlaid
        One to four; those that hold another form than the first (impedance or transfer) are left out.

    Returns
    -------
    Plot
        A curve a run; phases where every run has one.

    Raises
    ------
    ValueError
        No run, or more than four.
    """
    _require_few(len(runs))
    traces = [(one.name, trace_of(one.channels, one.drawn)) for one in runs]
    is_impedance = traces[0][1].is_impedance
    traces = [(name, trace) for name, trace in traces if trace.is_impedance == is_impedance]
    ends = [(trace.frequency_hz[0], trace.frequency_hz[-1]) for _, trace in traces]
    x_range = (float(min(low for low, _ in ends)), float(max(high for _, high in ends)))
    upper = [
        Curve(name, trace.frequency_hz, trace.magnitude, tone)
        for (name, trace), tone in zip(traces, _TONES, strict=False)
    ]
    title = "Impedance (Ω)" if is_impedance else "Transfer (dB)"
    edges = padded(*_ends(upper), is_log=is_impedance)
    panes = [Pane("Frequency (Hz)", title, upper, [], [], x_range, edges, is_log_x=True, is_log_y=is_impedance)]
    lower = [
        Curve(name, trace.frequency_hz, trace.phase_deg, tone)
        for (name, trace), tone in zip(traces, _TONES, strict=False)
        if trace.phase_deg is not None
    ]
    if len(lower) == len(traces):
        panes.append(Pane("Frequency (Hz)", "Phase (°)", lower, [], [], x_range, padded(*_ends(lower)), is_log_x=True))
    return Plot(panes, f"The sweeps of {_named(traces)} over each other.")


def impulses_over(runs: Sequence[Overlaid]) -> Plot:
    """Return impulses on top of each other: as recorded, and each relative to its test voltage whatever its polarity.

    Parameters
    ----------
    runs : sequence of Overlaid
        One to four.

    Returns
    -------
    Plot
        Times in µs from each one's virtual origin. In the lower pane like insulation gives like curves.

    Raises
    ------
    ValueError
        No run, or more than four.
    """
    _require_few(len(runs))
    volts, shares = [], []
    for one, tone in zip(runs, _TONES, strict=False):
        curves = curves_of(one.channels["time_s"], one.channels["voltage_kv"], one.drawn)
        marks = one.drawn.get("marks") or {}
        times = curves.time_us - float(marks.get("origin_us") or 0.0)
        volts.append(Curve(one.name, times, curves.recorded_kv, tone))
        level = one.drawn.get("test_voltage_kv")
        if level:
            base = float(one.drawn.get("base_level_kv") or 0.0)
            shares.append(Curve(one.name, times, 100 * curves.sign * (curves.recorded_kv - base) / float(level), tone))
    x_range = _within(volts, _IMPULSE_US)
    title = "Time from the virtual origin (µs)"
    panes = [Pane(title, "Voltage (kV)", volts, [], [], x_range, padded(*_ends(volts)))]
    if shares:
        panes.append(Pane(title, "Share of Ut (%)", shares, [], [], x_range, padded(*_ends(shares))))
    return Plot(panes, f"The impulses of {_named([(one.name, one) for one in runs])} over each other.")


def curves_over(named: Sequence[tuple[str, FittedCurve]]) -> Plot:
    """Return the readings of cooling windings or of insulations on top of each other, from shutdown or from voltage on.

    Parameters
    ----------
    named : sequence of (str, FittedCurve)
        Name of the run, and what its evaluation kept; one to four.

    Returns
    -------
    Plot
        A curve a run, on the axes of the first.

    Raises
    ------
    ValueError
        No run, or more than four.
    """
    _require_few(len(named))
    first = named[0][1]
    lines = [
        Curve(name, np.asarray(curve.readings["x"]), np.asarray(curve.readings["y"]), tone)
        for (name, curve), tone in zip(named, _TONES, strict=False)
    ]
    places = np.concatenate([line.x for line in lines])
    shown = places[places > 0] if first.is_log else places
    x_range = padded(float(shown.min()), float(shown.max()), is_log=first.is_log, share=0.03)
    y_range = padded(*_ends(lines), is_log=first.is_log)
    x_title, y_title = first.titles
    pane = Pane(x_title, y_title, lines, [], [], x_range, y_range, is_log_x=first.is_log, is_log_y=first.is_log)
    return Plot([pane], f"The readings of {_named(named)} over each other.")


def patterns_figure(named: Sequence[tuple[str, Pattern]]) -> dict[str, Any]:
    """Return one run's pattern with the outlines of others' pulses over it, for the browser.

    Parameters
    ----------
    named : sequence of (str, Pattern)
        Name of the run and its pattern; the first is drawn in cells.

    Returns
    -------
    dict
        As `pattern_figure`, with one trace more for each other run, on an axis of charge that holds them all.

    Raises
    ------
    ValueError
        No run, or more than four.
    """
    _require_few(len(named))
    shown = pattern_figure(named[0][1])
    shown["data"] += [pattern_outline(name, pattern, place) for place, (name, pattern) in enumerate(named[1:])]
    edges = [min(one.bottom_pc for _, one in named), max(one.top_pc for _, one in named)]
    shown["layout"]["yaxis"]["range"] = edges
    return shown


def pattern_outline(name: str, pattern: Pattern, place: int) -> dict[str, Any]:
    """Return the outline of one run's pulses over another's pattern: the greatest charge of each sign by phase.

    Parameters
    ----------
    name : str
        Of the run.
    pattern : Pattern
        Its pattern.
    place : int
        Its place among the outlines, from 0, for colour and dash.

    Returns
    -------
    dict
        One trace for the browser, in steps a phase cell wide; phases without a pulse leave a gap.
    """
    top: dict[int, float] = {}
    foot: dict[int, float] = {}
    for _, _, column, low, high in _cells(pattern):
        if high > 0:
            top[column] = max(top.get(column, 0.0), high)
        if low < 0:
            foot[column] = min(foot.get(column, 0.0), low)
    width = 360 / pattern.phase_cells
    xs: list[float | None] = []
    ys: list[float | None] = []
    for edges in (top, foot):
        for column in range(pattern.phase_cells):
            if column in edges:
                xs += [column * width, (column + 1) * width]
                ys += [float(f"{edges[column]:.6g}")] * 2
            elif xs and xs[-1] is not None:
                xs.append(None)
                ys.append(None)
        xs.append(None)
        ys.append(None)
    colour, dash = _DASHES[min(place, len(_DASHES) - 1)]
    line = {"color": colour, "width": 1.5, "dash": dash}
    return {"type": "scatter", "mode": "lines", "name": name, "x": xs, "y": ys, "line": line, "hoverinfo": "skip"}


def _cells(pattern: Pattern) -> list[tuple[str, float, int, float, float]]:
    """Return class, opacity, column and charges [pC] of every cell that holds pulses."""
    width = 360 / pattern.phase_cells
    return [
        (words, opacity, round(corner[0] / width), min(corner[1], corner[3]), max(corner[1], corner[3]))
        for words, opacity, corners in pattern.classes()
        for corner in corners
    ]


def _within(curves: Sequence[Curve], wanted: tuple[float, float]) -> tuple[float, float]:
    low, high = min(float(curve.x[0]) for curve in curves), max(float(curve.x[-1]) for curve in curves)
    shown = max(low, wanted[0]), min(high, wanted[1])
    return shown if shown[0] < shown[1] else (low, high)


def _ends(curves: Sequence[Curve]) -> tuple[float, float]:
    return min(float(curve.y.min()) for curve in curves), max(float(curve.y.max()) for curve in curves)


def _named(pairs: Sequence[tuple[str, Any]]) -> str:
    names = [name for name, _ in pairs]
    return ", ".join(names[:-1]) + (" and " if len(names) > 1 else "") + names[-1]
