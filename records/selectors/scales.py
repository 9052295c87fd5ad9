"""Scale factor and noise of the charge circuit over time, bay by bay, with what does not belong marked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone

from equipment.charts import Plot, PlotFrame
from equipment.charts.plot import ends
from equipment.metrology.outliers import outliers
from records.models import Run, SetupCheck
from schedules.models import Bay

MOST = 400


@dataclass(frozen=True)
class SetUp:
    """One set-up: its scale factor or its noise, and whether it does not belong to the series."""

    run: Run
    made_at: datetime
    value: float
    is_outlier: bool


@dataclass(frozen=True)
class ScaleHistory:
    """The last set-ups of one bay."""

    bay: Bay
    scales: tuple[SetUp, ...]
    noises: tuple[SetUp, ...]
    scale_plot: Plot | None
    noise_plot: Plot | None


def scale_history(viewer: Any, bay: Bay) -> ScaleHistory:
    """Return charge scale factors (injected charge over reading) and background noise [pC] of a bay: two queries."""
    scales = _set_ups(viewer, bay, SetupCheck.Kind.CHARGE_CALIBRATION)
    noises = _set_ups(viewer, bay, SetupCheck.Kind.BACKGROUND_NOISE)
    plots = (_plot(scales, "Charge scale factor", ""), _plot(noises, "Background noise", "pC"))
    return ScaleHistory(bay, scales, noises, *plots)


def _set_ups(viewer: Any, bay: Bay, kind: str) -> tuple[SetUp, ...]:
    runs = Run.objects.visible_to(viewer).filter(bay=bay)
    rows = SetupCheck.objects.filter(kind=kind, run__in=runs).select_related("run").order_by("-made_at", "-pk")[:MOST]
    known = [(row, value) for row in reversed(rows) if (value := _value(row)) is not None]
    marks = outliers([value for _, value in known])
    return tuple(SetUp(row.run, row.made_at, value, mark) for (row, value), mark in zip(known, marks, strict=True))


def _value(row: SetupCheck) -> float | None:
    if row.kind == SetupCheck.Kind.BACKGROUND_NOISE:
        return row.values.get("noise_pc")
    injected, reading = row.values.get("injected_pc"), row.values.get("reading")
    return injected / reading if injected and reading else None


def _plot(rows: tuple[SetUp, ...], title: str, unit: str) -> Plot | None:
    if not rows:
        return None
    days = [timezone.localtime(row.made_at) for row in rows]
    places = [moment.toordinal() + moment.hour / 24 + moment.minute / 1440 for moment in days]
    values = [row.value for row in rows]
    frame = PlotFrame(ends(places), ends(values))
    frame.trace(zip(places, values, strict=True), "plot-line")
    for place, row in zip(places, rows, strict=True):
        told = f"{row.run.number}: {row.value:.4g} {unit}".strip() + (", does not belong" if row.is_outlier else "")
        frame.dot(place, row.value, 0.0, told, "bad" if row.is_outlier else "")
    count = sum(row.is_outlier for row in rows)
    words = f"{title} of {len(rows)} set-ups; {count} do not belong to the series and are marked."
    return frame.plot(words=words, x_title="Day", y_title=f"{title}, {unit}" if unit else title, days=True)
