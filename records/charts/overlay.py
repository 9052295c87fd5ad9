"""Several runs on top of each other: each a line of its own, moved so that their first stages begin together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from records.charts.browser import POINTS, charge_trace, figure, line_trace
from records.charts.picture import Picture

# Lines differ by their dash as well as by their colour.
_STYLES = (("token:accent", "solid"), ("token:bad", "dash"), ("token:ink-2", "dot"), ("token:ok", "dashdot"))
MOST_LAYERS = len(_STYLES)


@dataclass(frozen=True)
class Layer:
    """One run of an overlay: its name, its picture, and when its first stage was reached [s]."""

    name: str
    picture: Picture
    reached_s: float


def overlay_figure(layers: Sequence[Layer], *, window: tuple[float, float] | None = None) -> dict[str, Any]:
    """Return data and layout for the browser: the runs on top of each other, time from the first stage reached.

    Parameters
    ----------
    layers : sequence of Layer
        At least one, at most four; the plan of the first is drawn behind them.
    window : tuple of float, optional
        Times to show in detail [s from reaching the first stage].

    Returns
    -------
    dict
        Each pane holds a line for each run that has its quantity; names are in the legend once a run.

    Raises
    ------
    ValueError
        No layer, or more than four.
    """
    if not 1 <= len(layers) <= MOST_LAYERS:
        raise ValueError(f"An overlay shows one to {MOST_LAYERS} runs.")
    moved = [_moved(layer) for layer in layers]
    shown = figure(moved[0], window=window or _span(moved), points=4)
    shown["data"] = [
        trace for place, layer in enumerate(layers) for trace in _lines(layer.name, moved[place], place, window)
    ]
    layout = shown["layout"]
    layout["yaxis"]["range"] = [0, max(picture.top_kv for picture in moved)]
    if "yaxis2" in layout:
        layout["yaxis2"]["range"] = [0, max(picture.top_pc for picture in moved)]
    elif any(picture.charge_pc is not None for picture in moved):
        shown["data"] = [trace for trace in shown["data"] if trace["yaxis"] == "y"]
    layout["xaxis"]["title"] = {"text": "Time from reaching the first stage (s)"}
    layout["showlegend"] = True
    layout["legend"] = {"orientation": "h", "y": -0.34}  # below the axis' title, on a telephone too
    layout["margin"] = {"l": 64, "r": 12, "t": 12, "b": 130}
    return shown


def _span(pictures: Sequence[Picture]) -> tuple[float, float]:
    return min(picture.span[0] for picture in pictures), max(picture.span[1] for picture in pictures)


def _moved(layer: Layer) -> Picture:
    """Return the picture with time from reaching the first stage; its found events are left to its own picture."""
    old = layer.picture
    bands = tuple(
        type(band)(
            band.title,
            band.level_kv,
            band.low_kv,
            band.high_kv,
            None if band.start_s is None else band.start_s - layer.reached_s,
            None if band.end_s is None else band.end_s - layer.reached_s,
            band.held_s,
        )
        for band in old.bands
    )
    charge_times = None if old.charge_time_s is None else old.charge_time_s - layer.reached_s
    return Picture(
        old.time_s - layer.reached_s, old.voltage_kv, old.charge_pc, bands, old.limit_pc, (), old.words, charge_times
    )


def _lines(name: str, picture: Picture, place: int, window: tuple[float, float] | None) -> list[dict[str, Any]]:
    colour, dash = _STYLES[place]
    traces = [line_trace(picture.time_s, picture.voltage_kv, "Voltage", "kV", "y", colour, window, POINTS)]
    if picture.charge_pc is not None:
        traces.append(charge_trace(picture, picture.charge_pc, colour, window, POINTS))
    for nth, trace in enumerate(traces):
        trace["line"]["dash"] = dash
        trace["legendgroup"] = trace["name"] = name
        trace["showlegend"] = nth == 0
    return traces
