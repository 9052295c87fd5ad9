"""From an evaluation and the arrays beside its record to what the picture shows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from django.conf import settings

from records.charts.pattern import Pattern
from records.charts.picture import Band, Mark, Picture
from records.models import Evaluation
from records.models.procedure import charge_limit_pc, document_of, stage_words, stages_of
from records.readers.kept import read_arrays
from records.readers.recording import Samples

_EVENTS = {
    "inception": "inception",
    "extinction": "extinction",
    "reignition": "re-ignition",
    "disruptive_discharge": "disruptive discharge",
}


def channels_of(evaluation: Evaluation) -> dict[str, Samples] | None:
    """Return the arrays of the record that was evaluated, by channel, or None where it was not read or is empty."""
    summary = evaluation.record.summary
    path = Path(settings.MEDIA_ROOT) / summary.get("arrays", "")
    if not summary.get("arrays") or not path.exists():
        return None
    channels = read_arrays(path, summary["channels"])
    return channels if any(len(samples) for samples in channels.values()) else None


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
    duration = evaluation.record.summary.get("duration_s") or 0
    has_charge = "charge_pc" in evaluation.record.summary.get("channels", ())
    return f"{'Voltage and charge' if has_charge else 'Voltage'} over {duration:.4g} s: {shown}."
