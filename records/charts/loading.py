"""From an evaluation and the arrays beside its record to what the picture shows."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from django.conf import settings

from records.charts.picture import Band, Mark, Picture
from records.models import Evaluation
from records.models.procedure import charge_limit_pc, document_of, stage_words, stages_of

_EVENTS = {
    "inception": "inception",
    "extinction": "extinction",
    "disruptive_discharge": "disruptive discharge",
}


def picture_of(evaluation: Evaluation) -> Picture | None:
    """Return the picture of one evaluation with the whole arrays, or None where its record was not read."""
    summary = evaluation.record.summary
    path = Path(settings.MEDIA_ROOT) / summary.get("arrays", "")
    if not summary.get("arrays") or not path.exists():
        return None
    rows = np.load(path, allow_pickle=False, mmap_mode="r")
    channels = dict(zip(summary["channels"], rows, strict=True))
    if len(rows[0]) == 0:
        return None
    document = document_of(evaluation.run)
    return Picture(
        channels["time_s"],
        channels["voltage_kv"],
        channels.get("charge_pc"),
        _bands(evaluation),
        charge_limit_pc(document),
        tuple(
            Mark(_EVENTS.get(event["name"], event["name"]), event["time_s"], event["voltage_kv"])
            for event in evaluation.document.get("events", ())
        ),
        words_of(evaluation),
    )


def _bands(evaluation: Evaluation) -> tuple[Band, ...]:
    found = {row["name"]: row for row in evaluation.document.get("stages", ())}
    return tuple(
        Band(
            stage.title,
            stage.voltage_kv,
            stage.low_kv,
            stage.high_kv,
            *(
                (found[stage.name][key] for key in ("start_s", "end_s", "held_s"))
                if stage.name in found
                else (None,) * 3
            ),
        )
        for stage in stages_of(document_of(evaluation.run))
    )


def words_of(evaluation: Evaluation) -> str:
    """Return in words what the picture shows, for those who do not see it."""
    held = [
        f"{stage_words(row['name'])} {row['voltage_kv']:.4g} kV for {row['held_s']:.4g} s"
        for row in evaluation.document.get("stages", ())
    ]
    events = [
        f"{_EVENTS.get(event['name'], event['name'])} at {event['voltage_kv']:.3g} kV, {event['time_s']:.4g} s"
        for event in evaluation.document.get("events", ())
    ]
    shown = "; ".join([*held, *events]) or "no stage of the plan was found in it"
    duration = evaluation.record.summary.get("duration_s") or 0
    return f"Voltage and charge over {duration:.4g} s: {shown}."
