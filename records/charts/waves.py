"""Impulses and sweeps as plots: what was recorded, what was fitted to it, and what the plan asks behind it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from records.charts.plot import Curve, Pane, Plot, Point, Region, Side, padded
from records.evaluation.impulse.telling import curves_of
from records.evaluation.sweep.telling import trace_of
from records.models.procedure import procedure_of, stages_of
from records.readers.recording import Samples

# Mark, share of the test voltage, words, and where they stand clear of a positive and of a negative wave.
_SHARES: tuple[tuple[str, float, str, Side, Side], ...] = (
    ("t30_us", 0.3, "30 %", "middle right", "middle right"),
    ("t90_us", 0.9, "90 %", "bottom right", "top right"),
    ("t50_us", 0.5, "50 %", "top right", "bottom right"),
)
_FRONT_US = (-0.6, 4.0)  # around the virtual origin: the pane that shows the front
_MOST_BRANCHES = 6


def impulse_plot(channels: Mapping[str, Samples], drawn: Mapping[str, Any], document: Mapping[str, Any]) -> Plot:
    """Return an impulse with its base curve, its test-voltage curve and the 30, 50 and 90 % marks.

    Parameters
    ----------
    channels : mapping of str to ndarray (n,)
        ``time_s`` and ``voltage_kv`` as recorded.
    drawn : mapping
        What the evaluation kept of this impulse.
    document : mapping
        The step, for the bands around its set points.

    Returns
    -------
    Plot
        The whole impulse above, its front below, times in µs as in the record.
    """
    curves = curves_of(channels["time_s"], channels["voltage_kv"], drawn)
    lines = [Curve("recorded", curves.time_us, curves.recorded_kv, "faint")]
    if curves.base_kv is not None and curves.test_voltage_kv is not None:
        lines += [
            Curve("base curve", curves.time_us, curves.base_kv, "fit"),
            Curve("test-voltage curve", curves.time_us, curves.test_voltage_kv, "main"),
        ]
    level, sign = float(drawn.get("test_voltage_kv") or 0.0), curves.sign
    marks, base = drawn.get("marks") or {}, float(drawn.get("base_level_kv") or 0.0)
    points = [
        Point(words, marks[name], base + sign * share * level, above if sign > 0 else below)
        for name, share, words, above, below in _SHARES
        if marks.get(name) is not None
    ]
    bands = _bands(drawn, document, base, sign)
    ends = [float(curves.recorded_kv.min()), float(curves.recorded_kv.max())]
    for band in bands:
        ends += [edge for edge in band.y if edge is not None]
    x_range = (float(curves.time_us[0]), float(curves.time_us[-1]))
    y_range = padded(min(ends), max(ends))
    panes = [Pane("Time (µs)", "Voltage (kV)", lines, bands, points, x_range, y_range)]
    if marks:
        begin, end = (float(np.clip(marks["origin_us"] + edge, *x_range)) for edge in _FRONT_US)
        near = [point for point in points if begin <= point.x <= end]
        if begin < end:
            title = "Time (µs), the front"
            panes.append(Pane(title, "Voltage (kV)", lines, bands, near, (begin, end), y_range, is_detail=True))
    return Plot(panes, impulse_words(drawn))


def _bands(drawn: Mapping[str, Any], document: Mapping[str, Any], base_kv: float, sign: int) -> list[Region]:
    stages = [stage for stage in stages_of(document) if stage.name == drawn.get("stage")]
    return [
        Region(
            f"{stage.title} {stage.voltage_kv:g} kV ± {stage.tolerance_pct:g} %",
            y=tuple(sorted((base_kv + sign * stage.low_kv, base_kv + sign * stage.high_kv))),  # type: ignore[arg-type]
        )
        for stage in stages
    ]


def impulse_words(drawn: Mapping[str, Any]) -> str:
    """Return in words what the picture of an impulse shows."""
    if drawn.get("test_voltage_kv") is None:
        return f"An impulse that could not be evaluated: {drawn.get('why') or 'its base curve could not be fitted'}."
    words = f"Impulse of {drawn['polarity']} polarity, test voltage {drawn['test_voltage_kv']:.4g} kV"
    if drawn.get("chopped_us") is not None:
        return f"{words}, chopped at {drawn['chopped_us']:.4g} µs of the record."
    marks = drawn.get("marks") or {}
    if marks.get("t50_us") is None:
        return f"{words}."
    front, half = (marks["t90_us"] - marks["t30_us"]) / 0.6, marks["t50_us"] - marks["origin_us"]
    return f"{words}, {front:.3g}/{half:.3g} µs, with base curve, test-voltage curve and the 30, 50 and 90 % marks."


def sweep_plot(channels: Mapping[str, Samples], drawn: Mapping[str, Any], document: Mapping[str, Any]) -> Plot:
    """Return a sweep with the fitted curve, its branches, and the window that the plan leaves each resonance.

    Parameters
    ----------
    channels : mapping of str to ndarray (n,)
        As recorded, ``frequency_hz`` among them.
    drawn : mapping
        What the evaluation kept of this sweep.
    document : mapping
        The step, for the windows.

    Returns
    -------
    Plot
        Magnitude above phase on one logarithmic axis of frequency.
    """
    trace = trace_of(channels, drawn)
    x_range = (float(trace.frequency_hz[0]), float(trace.frequency_hz[-1]))
    lines = [Curve("recorded", trace.frequency_hz, trace.magnitude, "main")]
    lines += [
        Curve(f"branch {place}", trace.frequency_hz, branch, "faint")
        for place, branch in enumerate(trace.branches[:_MOST_BRANCHES], start=1)
    ]
    if trace.fitted is not None:
        lines.append(Curve("fitted", trace.frequency_hz, trace.fitted, "fit"))
    points = [
        Point(f"{at:.5g} Hz", at, float(level), "middle left" if place == 0 else "middle right")
        for place, at in enumerate(branch["resonance_hz"] for branch in drawn.get("branches") or ())
        for level in [np.interp(at, trace.frequency_hz, trace.magnitude)]
    ]
    low, high = float(trace.magnitude.min()), float(trace.magnitude.max())
    y_range = padded(low, high, is_log=trace.is_impedance)
    upper = Pane(
        "Frequency (Hz)",
        "Impedance (Ω)" if trace.is_impedance else "Transfer (dB)",
        lines,
        _windows(document, x_range),
        points,
        x_range,
        y_range,
        is_log_x=True,
        is_log_y=trace.is_impedance,
    )
    panes = [upper]
    if trace.phase_deg is not None:
        phases = [Curve("recorded", trace.frequency_hz, trace.phase_deg, "main")]
        if trace.fitted_phase_deg is not None:
            phases.append(Curve("fitted", trace.frequency_hz, trace.fitted_phase_deg, "fit"))
        edges = padded(float(trace.phase_deg.min()), float(trace.phase_deg.max()))
        panes.append(Pane("Frequency (Hz)", "Phase (°)", phases, [], [], x_range, edges, is_log_x=True))
    return Plot(panes, sweep_words(drawn))


def _windows(document: Mapping[str, Any], x_range: tuple[float, float]) -> list[Region]:
    """Return the tolerance windows of the plan as regions of frequency."""
    procedure = procedure_of(document)
    fundamental = procedure.get("frequency_hz") or document.get("frequency_hz")
    factors = {"resonance_hz": 1.0, "tuned_order": fundamental}
    found = []
    for row in procedure.get("criteria") or ():
        factor = factors.get(row["quantity"])
        if factor is None:
            continue
        edges = _limits(row)
        if None in edges:
            continue
        low, high = (max(min(edge * factor, x_range[1]), x_range[0]) for edge in edges if edge is not None)
        if low < high:
            named = row.get("nominal")
            words = f"{named:g} ± {row['tolerance_pct']:g} %" if named and row.get("tolerance_pct") else "allowed"
            found.append(Region(words, x=(low, high)))
    return found


def _limits(row: Mapping[str, Any]) -> tuple[float | None, float | None]:
    nominal, tolerance = row.get("nominal"), row.get("tolerance_pct")
    if nominal is not None and tolerance is not None:
        return nominal * (1 - tolerance / 100), nominal * (1 + tolerance / 100)
    return row.get("min"), row.get("max")


def sweep_words(drawn: Mapping[str, Any]) -> str:
    """Return in words what the picture of a sweep shows."""
    branches: Sequence[Mapping[str, float]] = drawn.get("branches") or ()
    if not branches:
        return f"A sweep without a branch. {drawn.get('why') or ''}".strip()
    has_coil = not drawn.get("has_unknown_scale")
    coils = [f" ({one['inductance_mh']:.4g} mH)" if has_coil else "" for one in branches]
    named = ", ".join(f"{one['resonance_hz']:.5g} Hz{coil}" for one, coil in zip(branches, coils, strict=True))
    what = "Transfer in dB" if drawn.get("series_ohm") else "Impedance"
    return f"{what} against frequency with the fitted curve; series resonances at {named}."
