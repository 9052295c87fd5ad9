"""Impulses with known parameters, disturbed: the true values lie inside the stated intervals as often as stated."""

from __future__ import annotations

import numpy as np
import pytest

from records.evaluation.impulse.exponentials import shape_of
from records.evaluation.impulse.parameters import evaluate_impulse
from records.evaluation.impulse.synthesis import Disturbance, Oscillation, synthesise_impulse, wave_with_crest

K = 2.0


DISTURBED = {
    "as recorded": (),
    "drifting, up to a tenth of the samples dropped": ("drift", "dropped"),
    "resampled at half to twice the rate": ("resampled",),
    "with overshoot": ("overshoot",),
}


def disturbed(time_s, voltage_kv, chance, how):
    """Return a record with samples missing, or interpolated by straight lines to another rate."""
    if "dropped" in how:
        kept = chance.random(len(time_s)) >= chance.uniform(0.01, 0.1)
        kept[[0, -1]] = True
        time_s, voltage_kv = time_s[kept], voltage_kv[kept]
    if "resampled" in how:
        even = np.arange(chance.uniform(0, 1e-8), time_s[-1], 1e-8 * chance.uniform(0.5, 2.0))
        time_s, voltage_kv = even, np.interp(even, time_s, voltage_kv)
    return time_s, voltage_kv


def four(impulse):
    return (impulse.test_voltage_kv, impulse.front_us, impulse.half_value_us, impulse.overshoot_pct)


def deviations(draws: int, how=(), *, first_seed: int = 10_000):
    """Return for each parameter 2 (found - true)/U over seeded draws: noise of 0.1 to 1 %, 12 bits, an offset.

    The drift, a five-hundredth of the crest in each µs, is one that the flat part shows clearly; it is taken off. An
    overshoot of 3 to 8 % at 0.3 to 0.7 MHz has no closed form: true is what the same wave gives undisturbed.
    """
    found: dict[str, list[float]] = {"Ut": [], "T1": [], "T2": [], "overshoot": []}
    for seed in range(first_seed, first_seed + draws):
        chance = np.random.default_rng(seed)
        crest = float(chance.uniform(50, 200) * chance.choice([-1, 1]))
        wave = wave_with_crest(
            crest,
            slow_us=chance.uniform(55, 85),
            fast_us=chance.uniform(0.3, 0.5),
            start_us=10 + chance.uniform(0, 0.01),
        )
        disturbance = Disturbance(
            noise=float(chance.uniform(0.001, 0.01)),
            bits=12,
            offset_kv=float(chance.uniform(-3, 3)),
            drift_kv_per_us=0.002 * abs(crest) if "drift" in how else 0.0,
        )
        swing = Oscillation(chance.uniform(0.03, 0.08), chance.uniform(0.3, 0.7)) if "overshoot" in how else None
        record = synthesise_impulse(wave, seed=seed, duration_us=90, disturbance=disturbance, oscillation=swing)
        shape = shape_of(wave)
        true = (abs(crest), shape.front_us, shape.half_value_us, 0.0)
        if swing:
            still = synthesise_impulse(wave, seed=seed, duration_us=90, oscillation=swing)
            true = (one.value for one in four(evaluate_impulse(still.time_s, still.channels["voltage_kv"])))
        impulse = evaluate_impulse(*disturbed(record.time_s, record.channels["voltage_kv"], chance, how))
        for name, value, exact in zip(found, four(impulse), true, strict=True):
            found[name].append(K * (value.value - exact) / value.expanded_uncertainty)
    return {name: np.array(values) for name, values in found.items()}


@pytest.mark.parametrize("how", DISTURBED.values(), ids=DISTURBED)
def test_a_few_draws_lie_where_they_should(how):
    for name, away in deviations(25, how).items():
        assert np.abs(away).max() < 4.5, name
        assert np.mean(np.abs(away) < K) > 0.8, name


@pytest.mark.slow
@pytest.mark.timeout(280)
@pytest.mark.parametrize("how", DISTURBED.values(), ids=DISTURBED)
def test_of_a_thousand_draws_95_percent_lie_inside(how):
    """Bounds 93 to 97 %: two and a half standard deviations of a count of 1000 around k = 2's 95.4 %."""
    for name, away in deviations(1000, how).items():
        inside = float(np.mean(np.abs(away) < K))
        assert 0.93 <= inside <= 0.97, f"{name}: {inside:.3f}"
        assert abs(away.mean()) < (0.25 if name == "overshoot" else 0.2), f"{name}: {away.mean():.3f}"
