"""Invented values for the gallery; none of them was measured."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

from django import forms
from django.core.paginator import Page, Paginator


class SampleForm(forms.Form):
    """A form with one field of each sort."""

    serial = forms.CharField(help_text="As it stands on the name plate.")
    highest_voltage_kv = forms.DecimalField(label="Highest voltage, kV", min_value=0)
    received_on = forms.DateField(widget=forms.DateInput(attrs={"type": "date"}), required=False)
    kind = forms.ChoiceField(choices=[("", "Choose"), ("reactor", "Series reactor"), ("switchgear", "Switchgear")])
    energised = forms.ChoiceField(choices=[("a", "Phase A"), ("b", "Phase B")], widget=forms.RadioSelect, initial="a")
    remark = forms.CharField(widget=forms.Textarea, required=False)
    area_clear = forms.BooleanField(label="The area is clear", help_text="I have looked myself.")


def gallery() -> dict[str, Any]:
    """Return what the gallery page shows."""
    return {
        "verdicts": ["conforms", "does_not_conform", "inconclusive", "not_valid", ""],
        "tones": ["", "active", "ok", "warn", "bad", "void"],
        "way": _way(),
        "bay_way": _bay_way(),
        "facts": [
            {"label": "Charge", "value": "scale factor 1.026", "note": "drift +0.4 % since Tuesday"},
            {"label": "Voltage", "value": "divider X-1, due 14 Mar 2027"},
            {"label": "Conditions", "value": "21.4 °C · 100.9 kPa · 8.1 g/m³"},
        ],
        "form": SampleForm(initial={"serial": "XX-0001"}),
        "wrong_form": SampleForm({"highest_voltage_kv": "twelve"}, prefix=None, auto_id="wrong_%s"),
        "page_obj": _page(),
        "jobs": _jobs(),
        "digest": "9f3c" + "0" * 56 + "b1d4",
        "crumbs": [
            {"label": "Units", "url": "#main"},
            {"label": "XX-0001", "url": "#main"},
            {"label": "Run 3", "url": ""},
        ],
        "inputs": {"Um": "27 kV", "factor": "1.2"},
        "heads": ["Time", "Voltage", "Charge"],
        "rows": [["0 s", "0.0 kV", "5 pC"], ["30 s", "30.1 kV", "410 pC"], ["120 s", "18.7 kV", "6.8 pC"]],
    }


def _way() -> list[dict[str, str]]:
    return [
        {"label": "Set-up", "detail": "calibrated, quiet", "state": "done"},
        {"label": "Energised", "detail": "14:02 to 14:07", "state": "done"},
        {"label": "Record", "detail": "3 151 rows", "state": "done", "url": "#main"},
        {"label": "Review", "detail": "waiting for you", "state": "current"},
        {"label": "Certificate", "detail": "after 2 more runs", "state": "todo"},
    ]


def _bay_way() -> list[dict[str, str]]:
    return [
        {"label": "Conditions", "detail": "21.4 °C, 100.9 kPa", "state": "done"},
        {"label": "Instruments", "detail": "divider X-1 is out of calibration", "state": "blocked"},
        {"label": "Charge calibration", "detail": "100 pC reads 97.5 pC", "state": "current"},
        {"label": "Record", "detail": "", "state": "todo"},
    ]


def _page() -> Page[int]:
    return Paginator(range(120), 50).page(2)


def _jobs() -> list[dict[str, Any]]:
    return [
        {"stage": "", "progress": 0, "state": "queued", "words": "It begins as soon as a worker is free."},
        {"stage": "Reading the record", "progress": 40, "state": "running", "words": "1 260 of 3 151 rows."},
        {"stage": "Judged", "progress": 100, "state": "done", "words": "The findings are below."},
        {
            "stage": "Reading the record",
            "progress": 40,
            "state": "failed",
            "words": "Row 1 261 has text where a number should be. The file is kept; mend the columns and try again.",
        },
    ]


def chart() -> dict[str, Any]:
    """Return an invented discharge record: voltage above charge on one time axis, bands and limit behind."""
    times = list(range(0, 261, 2))
    return {
        "data": [
            {
                "x": times,
                "y": [_voltage_kv(t) for t in times],
                "line": {"color": "token:accent", "width": 2},
                "yaxis": "y",
            },
            {
                "x": times,
                "y": [_charge_pc(t) for t in times],
                "line": {"color": "token:ink", "width": 1.5},
                "yaxis": "y2",
            },
        ],
        "layout": {
            "xaxis": {"title": {"text": "Time, s"}, "anchor": "y2"},
            "yaxis": {"title": {"text": "Voltage, kV"}, "domain": [0.54, 1]},
            "yaxis2": {"title": {"text": "Charge, pC"}, "domain": [0, 0.46]},
            "shapes": [
                _band(30, 82, 29.1, 30.9, "y", "token:band"),
                _band(100, 226, 18.15, 19.27, "y", "token:band"),
                _band(0, 260, 100, 500, "y2", "token:limit"),
            ],
        },
    }


def _voltage_kv(time_s: float) -> float:
    points = [(0, 0.0), (30, 30.1), (82, 30.1), (100, 18.71), (226, 18.71), (260, 0.0)]
    for (before, low), (after, high) in pairwise(points):
        if before <= time_s <= after:
            return low + (high - low) * (time_s - before) / (after - before)
    return 0.0


def _charge_pc(time_s: float) -> float:
    return 400 + 20 * math.sin(time_s) if 26 <= time_s <= 98 else 6 + math.sin(time_s)


def _band(start: float, end: float, low: float, high: float, axis: str, colour: str) -> dict[str, Any]:
    return {
        "type": "rect", "layer": "below", "x0": start, "x1": end, "y0": low, "y1": high, "yref": axis,
        "fillcolor": colour, "line": {"width": 0},
    }  # fmt: skip
