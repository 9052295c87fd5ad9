"""From an evaluation and the arrays beside its record to what the picture shows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from django.conf import settings

from records.charts.pattern import Pattern
from records.charts.picture import Band, Mark, Picture
from records.evaluation.joining import RecordsDoNotJoin, pair
from records.evaluation.parts import JOINED
from records.models import Evaluation, Record
from records.models.procedure import charge_limit_pc, document_of, stage_words, stages_of
from records.readers.kept import read_arrays
from records.readers.recording import Recording, Samples

_EVENTS = {
    "inception": "inception",
    "extinction": "extinction",
    "reignition": "re-ignition",
    "disruptive_discharge": "disruptive discharge",
}


def files_of(evaluation: Evaluation) -> list[Record]:
    """Return the files that were judged together, in the order in which findings number them."""
    listed = evaluation.document.get("records") or ()
    if len(listed) < 2:
        return [evaluation.record]
    known = {row.sha256: row for row in evaluation.run.records.all()}
    return [known[row["sha256"]] for row in listed]


def channels_of(evaluation: Evaluation, record: Record | None = None) -> dict[str, Samples] | None:
    """Return the arrays that were judged, by channel, or None where nothing was read or all is empty.

    Parts of one record are joined; of files that were looked at side by side it is `record`, else the principal one.
    """
    files = files_of(evaluation) if evaluation.run.step.kind in JOINED else [record or evaluation.record]
    channels = _joined(files) if len(files) > 1 else _arrays_of(files[0])
    return channels if channels and any(len(samples) for samples in channels.values()) else None


def _arrays_of(record: Record) -> dict[str, Samples] | None:
    summary = record.summary
    path = Path(settings.MEDIA_ROOT) / summary.get("arrays", "")
    return read_arrays(path, summary["channels"]) if summary.get("arrays") and path.exists() else None


def _joined(files: list[Record]) -> dict[str, Samples] | None:
    """Return the arrays of the parts of one record; of a list of pulses with its voltage those of the pulses."""
    parts = [arrays for record in files if (arrays := _arrays_of(record)) is not None]
    recordings = [Recording(arrays.pop("time_s", np.empty(0)), arrays) for arrays in parts]
    try:
        whole = pair(recordings)
    except RecordsDoNotJoin:
        return None
    return {"time_s": whole.time_s, **whole.channels}


def picture_of(evaluation: Evaluation) -> Picture | None:
    """Return the picture of one evaluation with the whole arrays, or None where its record was not read."""
    channels = channels_of(evaluation)
    if channels is None or not len(channels.get("time_s", ())):
        return None
    times, volts, charge, charge_times = _arrays(channels, evaluation.document.get("details") or {})
    if volts is None:
        return None
    document = document_of(evaluation.run)
    return Picture(
        times,
        volts,
        charge,
        _bands(evaluation),
        charge_limit_pc(document),
        tuple(
            Mark(_EVENTS.get(event["name"], event["name"]), event["time_s"], event["voltage_kv"])
            for event in evaluation.document.get("events", ())
        ),
        words_of(evaluation),
        charge_times,
    )


def pattern_of(evaluation: Evaluation) -> Pattern | None:
    """Return the phase-resolved pattern that an evaluation kept, or None."""
    return Pattern.from_details(evaluation.document.get("details") or {})


def pattern_words(evaluation: Evaluation | None) -> str:
    """Return in words what the pattern of an evaluation shows; empty where it has none."""
    pattern = None if evaluation is None else pattern_of(evaluation)
    return "" if pattern is None else pattern.words


def aligned_of(evaluation: Evaluation) -> float:
    """Return the time at which the first stage that was found was reached [s]; 0 where none was."""
    stages = evaluation.document.get("stages") or ()
    return float(stages[0]["reached_s"]) if stages else 0.0


def _arrays(
    channels: dict[str, Any], details: dict[str, Any]
) -> tuple[Samples, Samples | None, Samples | None, Samples | None]:
    """Return times, r.m.s. voltage, charge and its own times: as sampled, or with the voltage that was computed."""
    trend, times = details.get("trend"), channels["time_s"]
    if trend is None:
        return times, channels.get("voltage_kv"), channels.get("charge_pc"), None
    computed, volts = np.array(trend["time_s"]), np.array(trend["voltage_kv"])
    if "charge_pc" not in channels:
        return computed, volts, None, None
    return computed, volts, np.abs(channels["charge_pc"]), times + details.get("shift_s", 0.0)


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
    duration = evaluation.document["recording"]["duration_s"] or 0
    has_charge = any("charge_pc" in record.summary.get("channels", ()) for record in files_of(evaluation))
    return f"{'Voltage and charge' if has_charge else 'Voltage'} over {duration:.4g} s: {shown}."
