"""How long two million pulses take to pattern and quantities, and to findings."""

from __future__ import annotations

import time

import numpy as np
import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.phase_pattern import count_pattern
from records.evaluation.pulse_trains import derive_quantities, largest_repeated_in
from records.evaluation.setups import Setup
from records.evaluation.synthesis import Hold, PulseTrain, synthesise_pulses

pytestmark = pytest.mark.bench

PULSES = 2_000_000
MOST_S = 0.5
"""The bound of the issue; processor time, so that a busy machine does not count."""

MOST_FLOORS = 100.0
"""Times the floor: one count of as many cells, which only a pattern without quantities could reach."""

STEP = {
    "kind": "partial_discharge",
    "stages": [
        {"name": "prestress", "voltage_kv": 30, "hold_s": 60, "tolerance_pct": 3},
        {"name": "measurement", "voltage_kv": 18.71, "hold_s": 120, "tolerance_pct": 3},
    ],
    "threshold_pc": 10,
    "criteria": [{"quantity": "apparent_charge_pc", "stage": "measurement", "max": 100}],
}


def _least(work, times=3):
    spent = []
    for _ in range(times):
        begun = time.process_time()
        work()
        spent.append(time.process_time() - begun)
    return min(spent)


def test_two_million_pulses_to_pattern_and_quantities():
    chance = np.random.default_rng(1)
    phase, charge = chance.uniform(0, 360, PULSES), chance.normal(0, 50, PULSES)
    time_s = np.sort(chance.uniform(0, 120, PULSES))
    voltage = 26.5 * np.sin(np.radians(phase))
    cells = chance.integers(0, 18_000, PULSES)
    floor_s = _least(lambda: np.bincount(cells, minlength=18_000))
    found = {}

    def work():
        found["pattern"] = count_pattern(phase, charge)
        found["charge"] = largest_repeated_in(time_s, charge, 0.0, 120.0)
        found["derived"] = derive_quantities(charge, 120.0, voltage)

    spent_s = _least(work)
    print(f"\n2 million pulses to pattern and quantities: {spent_s:.3f} s, {spent_s / floor_s:.0f} × counting cells")
    assert found["pattern"].pulses == found["derived"].count == PULSES
    assert found["charge"] > 50
    assert spent_s <= MOST_S
    assert spent_s <= MOST_FLOORS * floor_s


def test_two_million_pulses_to_findings():
    """Everything: voltage from the pulses, stages, inception, extinction, quantities, pattern, verdict."""
    trains = [PulseTrain(3, PULSES / 235, 0.0, 235.0)]
    recording = synthesise_pulses([Hold(30, 63), Hold(18.71, 125)], trains, seed=1)
    cells = np.random.default_rng(1).integers(0, 18_000, PULSES)
    floor_s = _least(lambda: np.bincount(cells, minlength=18_000))
    spent_s = _least(lambda: evaluate(STEP, [recording], Setup(background_noise_pc=2.0)))
    print(f"\n{recording.rows} pulses to findings: {spent_s:.3f} s, {spent_s / floor_s:.0f} × counting cells")
    assert evaluate(STEP, [recording], Setup(background_noise_pc=2.0)).verdict == "conforms"
    assert spent_s <= MOST_S
