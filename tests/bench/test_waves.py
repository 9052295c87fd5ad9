"""How long an impulse and a sweep take to evaluate, against the cheapest that one could do with their samples."""

from __future__ import annotations

import time

import numpy as np
import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.impulse.synthesis import Disturbance, Oscillation, synthesise_impulse, wave_with_crest
from records.evaluation.sweep.synthesis import SeriesBranch, synthesise_sweep

pytestmark = pytest.mark.bench

MOST_MS = 60.0
"""The bound of either; the best of several turns in processor time, so that a busy machine does not count."""

TURNS = 15
IMPULSE_STEP = {
    "kind": "lightning_impulse",
    "stages": [{"name": "full", "voltage_kv": 125, "tolerance_pct": 3}],
    "criteria": [{"quantity": "front_time_us", "min": 0.84, "max": 1.56}],
}
SWEEP_STEP = {
    "kind": "frequency_response",
    "frequency_hz": 60,
    "criteria": [
        {"quantity": "tuned_order", "nominal": nominal, "tolerance_pct": 2, "judges": "unit"}
        for nominal in (4.7, 6.8, 11.65)
    ],
}


def best_ms(deed) -> float:
    """Return the least processor time of one turn [ms]."""
    deed()
    spent = []
    for _ in range(TURNS):
        begun = time.process_time()
        deed()
        spent.append(1e3 * (time.process_time() - begun))
    return min(spent)


def test_an_impulse_of_100_000_samples():
    """The floor is one exponential of each sample: less no base curve can cost."""
    disturbance = Disturbance(noise=0.003, bits=12, offset_kv=1.0)
    record = synthesise_impulse(
        wave_with_crest(125.0), seed=1, interval_us=0.001, oscillation=Oscillation(0.05), disturbance=disturbance
    )
    assert record.rows == 100_000
    floor_ms = best_ms(lambda: np.exp(record.time_s * -1e4))
    spent_ms = best_ms(lambda: evaluate(IMPULSE_STEP, [record]))
    print(f"\n100 000-sample impulse: {spent_ms:.1f} ms, {spent_ms / floor_ms:.0f} × one exponential of its samples")
    assert evaluate(IMPULSE_STEP, [record]).verdict == "conforms"
    assert spent_ms <= MOST_MS


@pytest.mark.parametrize("bits", [8, 14])
def test_an_impulse_of_100_000_samples_on_a_coarse_recorder(bits):
    """Without noise the steps are drawn 64 times; the bound is the same."""
    record = synthesise_impulse(
        wave_with_crest(125.0), seed=1, interval_us=0.001, disturbance=Disturbance(bits=bits, offset_kv=1.0)
    )
    spent_ms = best_ms(lambda: evaluate(IMPULSE_STEP, [record]))
    print(f"\n100 000-sample impulse, {bits} bits without noise: {spent_ms:.1f} ms")
    assert spent_ms <= MOST_MS


def test_a_sweep_of_three_branches_and_2000_points():
    """The floor is one linear fit of the six residues: less no rational fit can cost."""
    branches = [
        SeriesBranch.tuned(hertz, quality, inductance)
        for hertz, quality, inductance in ((282.5, 60, 6.37), (408.0, 80, 4.0), (700.0, 40, 2.0))
    ]
    record = synthesise_sweep(branches, seed=1, points=2000, noise_db=0.1, noise_deg=0.5)
    s = 2j * np.pi * record.channels["frequency_hz"]
    columns = np.column_stack([1 / (s + 10.0 + 1000j * place) for place in range(6)])
    real = np.concatenate([columns.real, columns.imag])
    right = np.ones(len(real))
    floor_ms = best_ms(lambda: np.linalg.lstsq(real, right, rcond=None))
    spent_ms = best_ms(lambda: evaluate(SWEEP_STEP, [record]))
    print(f"\n2000-point sweep of 3 branches: {spent_ms:.1f} ms, {spent_ms / floor_ms:.0f} × a linear fit of residues")
    assert evaluate(SWEEP_STEP, [record]).verdict == "conforms"
    assert spent_ms <= MOST_MS
