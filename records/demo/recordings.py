"""The files of the demonstration's instruments, made by a generator from the step and what goes wrong in it."""

from __future__ import annotations

import io
from typing import Any

from records.evaluation.synthesis import Discharges, Hold, synthesise_discharge, synthesise_withstand
from records.evaluation.writing import WrittenDialect, write_csv

# Two makers of recorders, two dialects.
DIALECTS = (
    WrittenDialect(preamble=("# Recorder A (invented)",)),
    WrittenDialect(separator=";", decimal=",", units={"voltage_kv": "V"}, preamble=("# Recorder B (invented)",)),
)
INTERVAL_S = 0.25


def content_of(step: dict[str, Any], fault: str, seed: int) -> bytes:
    """Return the bytes of a record of this step: as it should be, or with one of the story's faults."""
    holds = _holds(step, fault)
    if step["kind"] == "partial_discharge":
        made = synthesise_discharge(
            holds, _discharges(step, fault, seed), seed=seed, noise_pc=2.5 + seed % 4, interval_s=INTERVAL_S
        )
    else:
        made = synthesise_withstand(holds, seed=seed, interval_s=INTERVAL_S)
    stream = io.BytesIO()
    text = io.TextIOWrapper(stream, encoding="utf-8", newline="")
    write_csv(text, made, DIALECTS[seed % 2])
    text.flush()
    return stream.getvalue()


def _holds(step: dict[str, Any], fault: str) -> list[Hold]:
    stages = step["procedure"]["stages"]
    holds = [Hold(stage.get("set_point_kv", stage["voltage_kv"]), stage["hold_s"] + 3) for stage in stages]
    if fault == "short":
        holds[-1] = Hold(holds[-1].voltage_kv, 0.7 * stages[-1]["hold_s"])
    return holds


def _discharges(step: dict[str, Any], fault: str, seed: int) -> Discharges:
    first, last = (stage["voltage_kv"] for stage in step["procedure"]["stages"][:2])
    if fault == "fails":
        return Discharges(inception_kv=0.62 * first, extinction_kv=0.8 * last, charge_pc=340.0, lingering_s=400.0)
    spread = (seed % 5) / 100
    return Discharges(
        inception_kv=(0.9 + spread) * first,
        extinction_kv=last + (0.45 + spread) * (first - last),
        charge_pc=180 + 9 * (seed % 11),
    )
