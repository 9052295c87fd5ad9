"""The files that the journeys upload, made from the plan that the rules derive; all constructed."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from records.demo.recordings import content_of
from schedules.rules import derive_plan

# The check value of the trade (common practice, no source): 110 kV BIL, 15.5 kV, single-phase: two runs.
RATINGS = {"equipment": "series_reactor", "highest_voltage_kv": 15.5, "lightning_impulse_kv": 110, "phases": 1}
WITHSTAND, DISCHARGE = "power_frequency_withstand", "partial_discharge"


@cache
def steps() -> dict[str, dict[str, Any]]:
    """Return the steps of the plan by kind."""
    return {step["kind"]: step for step in derive_plan(RATINGS).as_dict()["steps"]}


def record_file(folder: Path, kind: str, fault: str = "", seed: int = 1) -> Path:
    """Write the record of a step, sound or with a fault (`fails`, `noisy`, `short`); another seed gives other bytes."""
    path = folder / f"{kind}-{fault or 'sound'}-{seed}.csv"
    path.write_bytes(content_of(steps()[kind], fault, seed))
    return path
