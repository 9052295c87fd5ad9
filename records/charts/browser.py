"""The picture for the browser: data and layout, colours as tokens, thinned to what the window shows."""

from __future__ import annotations

from typing import Any

from records.charts.picture import Picture, band_words, fallback, mark_words
from records.evaluation.thinning import thin, thin_dots
from records.readers.recording import Samples

POINTS = 2000
_LATE = 0.3  # of the record: words that begin later would run out of a narrow screen
_UPPER, _LOWER = (0.54, 1.0), (0.0, 0.44)


def figure(picture: Picture, *, window: tuple[float, float] | None = None, points: int = POINTS) -> dict[str, Any]:
    """Return data and layout for the browser's chart; colours are tokens that it resolves by light or dark.

    Parameters
    ----------
    picture : Picture
        Whole arrays.
    window : tuple of float, optional
        Times [s] to show in detail; thinning keeps the extremes of what is in it.
    points : int
        Most samples a line.

    Returns
    -------
    dict
        ``data`` (one trace a quantity) and ``layout`` (two panes over one another that share the time axis).
    """
    data = [line_trace(picture.time_s, picture.voltage_kv, "Voltage", "kV", "y", "token:accent", window, points)]
    if picture.charge_pc is not None:
        data.append(charge_trace(picture, picture.charge_pc, "token:ink", window, points))
    first, last = window or picture.span
    has_charge = picture.charge_pc is not None
    layout: dict[str, Any] = {
        "xaxis": {
            "title": {"text": "Time (s)"},
            "range": [first, last],
            "anchor": "y2" if has_charge else "y",
            "fixedrange": False,
        },
        "yaxis": {
            "title": {"text": "Voltage (kV)"},
            "domain": list(_UPPER) if has_charge else [0, 1],
            "range": [0, picture.top_kv],
            "fixedrange": True,
        },
        "shapes": [*_band_shapes(picture), *_limit_shapes(picture), *_mark_shapes(picture)],
        "annotations": [*_band_notes(picture), *_limit_notes(picture), *_mark_notes(picture)],
        "showlegend": False,
        "dragmode": "zoom",
    }
    if has_charge:
        layout["yaxis2"] = {
            "title": {"text": "Charge (pC)"},
            "domain": list(_LOWER),
            "range": [0, picture.top_pc],
            "fixedrange": True,
        }
    return {"data": data, "layout": layout}


def line_trace(
    time_s: Samples,
    values: Samples,
    name: str,
    unit: str,
    axis: str,
    colour: str,
    window: tuple[float, float] | None,
    points: int,
) -> dict[str, Any]:
    """Return one line of the browser's chart, thinned to what the window shows."""
    times, thinned = thin(time_s, values, points, window=window)
    return {
        "type": "scatter",
        "mode": "lines",
        "name": f"{name} ({unit})",
        "x": [float(f"{one:.7g}") for one in times],
        "y": [float(f"{one:.6g}") for one in thinned],
        "xaxis": "x",
        "yaxis": axis,
        "line": {"color": colour, "width": 1.5},
        "hovertemplate": f"%{{y:.4~g}} {unit} at %{{x:.5~g}} s<extra></extra>",
    }


def charge_trace(
    picture: Picture, charge_pc: Samples, colour: str, window: tuple[float, float] | None, points: int
) -> dict[str, Any]:
    """Return a detector's reading as a line, and single pulses as dots, in an eighth of `points` columns."""
    if picture.charge_time_s is None:
        return line_trace(picture.time_s, charge_pc, "Charge", "pC", "y2", colour, window, points)
    times, thinned = thin_dots(picture.charge_time_s, charge_pc, columns=max(points // 8, 40), window=window)
    dots = line_trace(times, thinned, "Charge", "pC", "y2", colour, None, len(times) + 4)
    return {**dots, "mode": "markers", "marker": {"color": colour, "size": 3}}


def _rectangle(x: tuple[Any, Any], y: tuple[Any, Any], xref: str, yref: str, colour: str) -> dict[str, Any]:
    return {
        "type": "rect",
        "layer": "below",
        "xref": xref,
        "yref": yref,
        "x0": x[0],
        "x1": x[1],
        "y0": y[0],
        "y1": y[1],
        "fillcolor": colour,
        "line": {"width": 0},
    }


def _band_shapes(picture: Picture) -> list[dict[str, Any]]:
    first, last = picture.span
    return [
        _rectangle(
            (fallback(band.start_s, first), fallback(band.end_s, last)),
            (band.low_kv, band.high_kv),
            "x",
            "y",
            "token:band",
        )
        for band in picture.bands
    ]


def _limit_shapes(picture: Picture) -> list[dict[str, Any]]:
    if picture.limit_pc is None or picture.charge_pc is None:
        return []
    region = _rectangle((0, 1), (picture.limit_pc, picture.top_pc), "paper", "y2", "token:limit")
    edge = {
        "type": "line",
        "layer": "below",
        "xref": "paper",
        "yref": "y2",
        "x0": 0,
        "x1": 1,
        "y0": picture.limit_pc,
        "y1": picture.limit_pc,
        "line": {"color": "token:bad", "width": 1, "dash": "dash"},
    }
    return [region, edge]


def _mark_shapes(picture: Picture) -> list[dict[str, Any]]:
    return [
        {
            "type": "line",
            "layer": "below",
            "xref": "x",
            "yref": "paper",
            "x0": mark.time_s,
            "x1": mark.time_s,
            "y0": 0,
            "y1": 1,
            "line": {"color": "token:ink-2", "width": 1, "dash": "dot"},
        }
        for mark in picture.marks
    ]


def _note(text: str, x: Any, y: Any, xref: str, yref: str, **more: Any) -> dict[str, Any]:
    return {"text": text, "x": x, "y": y, "xref": xref, "yref": yref, "showarrow": False, **more}


def _band_notes(picture: Picture) -> list[dict[str, Any]]:
    """Return the words of each band at its beginning, of one in the later part of the record at its end."""
    first, last = picture.span
    notes = []
    for band in picture.bands:
        begins, ends = fallback(band.start_s, first), fallback(band.end_s, last)
        is_late = begins > first + _LATE * (last - first)
        more = {"xanchor": "right" if is_late else "left", "yanchor": "bottom"}
        font = {"color": "token:accent", "size": 12}
        notes.append(_note(band_words(band), ends if is_late else begins, band.high_kv, "x", "y", **more, font=font))
    return notes


def _limit_notes(picture: Picture) -> list[dict[str, Any]]:
    if picture.limit_pc is None or picture.charge_pc is None:
        return []
    font = {"color": "token:bad", "size": 12}
    return [
        _note(f"limit {picture.limit_pc:g} pC", 1, picture.limit_pc, "paper", "y2", xanchor="right", yanchor="bottom")
        | {"font": font, "name": "limit"}
    ]


def _mark_notes(picture: Picture) -> list[dict[str, Any]]:
    more = {"xanchor": "left", "yanchor": "top", "font": {"color": "token:ink-2", "size": 12}}
    level = 0.44 if picture.charge_pc is not None else 1.0
    return [
        _note(mark_words(mark), mark.time_s, level - 0.06 * (place % 2), "x", "paper", **more)
        for place, mark in enumerate(picture.marks)
    ]
