"""The files of the demonstration's instruments, made by a generator from the step and what goes wrong in it.

Every number of a unit here is invented; what the plan asks is met with a little to spare, unless a fault is told.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from records.evaluation.impulse.synthesis import Disturbance as WaveDisturbance
from records.evaluation.impulse.synthesis import synthesise_impulse, wave_with_crest
from records.evaluation.slow_synthesis import (
    Disturbance,
    Winding,
    synthesise_absorption,
    synthesise_cooling,
    synthesise_table,
)
from records.evaluation.sweep.synthesis import SeriesBranch, synthesise_sweep
from records.evaluation.synthesis import Discharges, Hold, synthesise_discharge, synthesise_withstand
from records.evaluation.writing import WrittenDialect, write_csv
from records.readers.recording import Recording

# Two makers of recorders, two dialects.
DIALECTS = (
    WrittenDialect(preamble=("# Recorder A (invented)",)),
    WrittenDialect(separator=";", decimal=",", units={"voltage_kv": "V"}, preamble=("# Recorder B (invented)",)),
)
INTERVAL_S = 0.25
_WINDING_OHM, _WINDING_C = 0.0421, 20.5
_RISE_K, _AMBIENT_C, _SHUTDOWN_S = 61.0, 22.0, 30.0
_DEFAULT_CONSTANT_C = 225.0


@dataclass(frozen=True)
class MadeFile:
    """One file of an instrument: its name without the run's number, its bytes, and the part that it plays."""

    name: str
    content: bytes
    part: str = ""


def files_of(step: Mapping[str, Any], fault: str, seed: int) -> list[MadeFile]:
    """Return the files of one performance of a step: as they should be, or with one of the story's faults."""
    made = _MAKERS[step["kind"]](step, fault, seed)
    return [MadeFile(name, _written(recording, seed)) for name, recording in made.items()]


def content_of(step: Mapping[str, Any], fault: str, seed: int) -> bytes:
    """Return the bytes of the first file of a performance."""
    return files_of(step, fault, seed)[0].content


def values_of(step: Mapping[str, Any]) -> dict[str, Any]:
    """Return what people state on the sheet beside the record, where it is asked."""
    stages = step["procedure"].get("stages") or [{}]
    return {
        "shutdown_s": _SHUTDOWN_S,
        "cold_resistance_ohm": _WINDING_OHM,
        "cold_temperature_c": _WINDING_C,
        "material": "aluminium",
        "test_voltage_kv": stages[-1].get("voltage_kv"),
        "rated_current_a": 300.0,
        "dc_resistance_ohm": _WINDING_OHM,
        "dc_resistance_temperature_c": _WINDING_C,
    }


def _written(recording: Recording, seed: int) -> bytes:
    stream = io.BytesIO()
    text = io.TextIOWrapper(stream, encoding="utf-8", newline="")
    write_csv(text, recording, DIALECTS[seed % 2])
    text.flush()
    return stream.getvalue()


def _withstand(step: Mapping[str, Any], fault: str, seed: int) -> dict[str, Recording]:
    return {"record": synthesise_withstand(_holds(step, fault), seed=seed, interval_s=INTERVAL_S)}


def _discharge(step: Mapping[str, Any], fault: str, seed: int) -> dict[str, Recording]:
    holds, found = _holds(step, fault), _discharges(step, fault, seed)
    noise_pc = 2.5 + seed % 4
    return {"record": synthesise_discharge(holds, found, seed=seed, noise_pc=noise_pc, interval_s=INTERVAL_S)}


def _impulses(step: Mapping[str, Any], fault: str, seed: int) -> dict[str, Recording]:
    """Return as many impulses of each stage as the plan asks, a little below the set point."""
    criteria = step["procedure"]["criteria"]
    least = {row.get("stage"): int(row["min"]) for row in criteria if row["quantity"] == "impulses" and row.get("min")}
    noise = WaveDisturbance(noise=0.002, bits=12)
    made: dict[str, Recording] = {}
    for stage in step["procedure"]["stages"]:
        sign = -1 if stage.get("polarity") == "negative" else 1
        for nth in range(1, least.get(stage["name"], 1) + 1):
            wave = wave_with_crest(sign * (0.997 + 0.001 * nth) * stage["voltage_kv"], start_us=8.0)
            made[f"{stage['name']}-{nth}"] = synthesise_impulse(
                wave, seed=1000 * seed + len(made), interval_us=0.05, duration_us=110.0, disturbance=noise
            )
    return made


def _sweep(step: Mapping[str, Any], fault: str, seed: int) -> dict[str, Recording]:
    """Return the sweep of a branch for each order that the plan asks, each of 50 µF."""
    fundamental = step["procedure"]["frequency_hz"]
    branches = []
    for row in step["procedure"]["criteria"]:
        if row["quantity"] == "tuned_order":
            resonance = row["nominal"] * fundamental * (1 + 0.001 * (seed % 5))
            branches.append(SeriesBranch.tuned(resonance, 45.0, 1e9 / ((2 * math.pi * resonance) ** 2 * 50.0)))
    sweep = synthesise_sweep(branches, seed=seed, points=1200, noise_db=0.01, noise_deg=0.05, stray_uf=0.002)
    return {"sweep": sweep}


def _resistance(step: Mapping[str, Any], fault: str, seed: int) -> dict[str, Recording]:
    ohm = 0.8 * _limit(step, "resistance_ohm", "max", _WINDING_OHM / 0.8) * (1 + 0.0005 * (seed % 4))
    spread = {"resistance_ohm": Disturbance(noise=2e-4 * ohm, seed=seed), "temperature_c": Disturbance(step=0.1)}
    return {"readings": synthesise_table({"resistance_ohm": ohm, "temperature_c": _WINDING_C}, spread)}


def _capacitance(step: Mapping[str, Any], fault: str, seed: int) -> dict[str, Recording]:
    uf = _middle(step, "capacitance_uf", 20.0) * (1 + 0.0002 * (seed % 3))
    spread = {"capacitance_uf": Disturbance(noise=1e-4 * uf, seed=seed)}
    return {"readings": synthesise_table({"voltage_kv": 1.0, "capacitance_uf": uf}, spread)}


def _dissipation(step: Mapping[str, Any], fault: str, seed: int) -> dict[str, Recording]:
    factor = 0.4 * _limit(step, "dissipation_factor", "max", 0.001)
    spread = {"dissipation_factor": Disturbance(noise=0.02 * factor, seed=seed)}
    return {"readings": synthesise_table({"voltage_kv": 1.0, "dissipation_factor": factor}, spread)}


def _inductance(step: Mapping[str, Any], fault: str, seed: int) -> dict[str, Recording]:
    millihenry = _middle(step, "inductance_mh", 4.2) * (1 + 0.001 * (seed % 4))
    exact = {"frequency_hz": step["procedure"].get("frequency_hz", 60.0), "inductance_mh": millihenry}
    exact |= {"loss_w": 1.18 * _WINDING_OHM * 50.0**2, "current_a": 50.0, "temperature_c": _WINDING_C}
    spread = {name: Disturbance(noise=2e-4 * exact[name], seed=seed) for name in ("inductance_mh", "loss_w")}
    return {"readings": synthesise_table(exact, spread)}


def _insulation(step: Mapping[str, Any], fault: str, seed: int) -> dict[str, Recording]:
    noise = Disturbance(noise=0.004, seed=seed)
    return {"readings": synthesise_absorption(2100.0 + 90 * (seed % 4), 2.6, noise)}


def _cooling(step: Mapping[str, Any], fault: str, seed: int) -> dict[str, Recording]:
    """Return a cooling curve whose winding stood 61 K over the surroundings when the current was cut off."""
    constant = step["procedure"].get("temperature_constant_c", _DEFAULT_CONSTANT_C)
    hot = _WINDING_OHM * (constant + _AMBIENT_C + _RISE_K) / (constant + _WINDING_C)
    winding = Winding(hot, 0.6 * (hot - _WINDING_OHM), 420.0, 2e-7)
    noise = Disturbance(noise=4e-6, step=1e-6, seed=seed)
    return {
        "cooling": synthesise_cooling(
            winding, noise, first_s=40.0, last_s=1500.0, shutdown_s=_SHUTDOWN_S, ambient_c=_AMBIENT_C
        )
    }


_MAKERS: Mapping[str, Callable[[Mapping[str, Any], str, int], dict[str, Recording]]] = {
    "power_frequency_withstand": _withstand,
    "partial_discharge": _discharge,
    "lightning_impulse": _impulses,
    "frequency_response": _sweep,
    "winding_resistance": _resistance,
    "insulation_resistance": _insulation,
    "dissipation_factor": _dissipation,
    "capacitance": _capacitance,
    "inductance": _inductance,
    "temperature_rise": _cooling,
}
KINDS = tuple(_MAKERS)


def _limit(step: Mapping[str, Any], quantity: str, end: str, otherwise: float) -> float:
    rows = [row for row in step["procedure"]["criteria"] if row["quantity"] == quantity and row.get(end) is not None]
    return float(rows[0][end]) if rows else otherwise


def _middle(step: Mapping[str, Any], quantity: str, otherwise: float) -> float:
    """Return the nominal value of a quantity, else the middle between its limits, else another."""
    nominal = _limit(step, quantity, "nominal", 0.0)
    low, high = _limit(step, quantity, "min", 0.0), _limit(step, quantity, "max", 0.0)
    return nominal or (low + high) / 2 or otherwise


def _holds(step: Mapping[str, Any], fault: str) -> list[Hold]:
    stages = step["procedure"]["stages"]
    holds = [Hold(stage.get("set_point_kv", stage["voltage_kv"]), stage["hold_s"] + 3) for stage in stages]
    if fault == "short":
        holds[-1] = Hold(holds[-1].voltage_kv, 0.7 * stages[-1]["hold_s"])
    return holds


def _discharges(step: Mapping[str, Any], fault: str, seed: int) -> Discharges:
    first, last = (stage["voltage_kv"] for stage in step["procedure"]["stages"][:2])
    if fault == "fails":
        return Discharges(inception_kv=0.62 * first, extinction_kv=0.8 * last, charge_pc=340.0, lingering_s=400.0)
    spread = (seed % 5) / 100
    return Discharges(
        inception_kv=(0.9 + spread) * first,
        extinction_kv=last + (0.45 + spread) * (first - last),
        charge_pc=180 + 9 * (seed % 11),
    )
