"""Recorders whose noise is below half a step: the steps are part of what is drawn, and the intervals hold as stated."""

from __future__ import annotations

import numpy as np
import pytest

from records.evaluation.impulse.exponentials import shape_of
from records.evaluation.impulse.known import Errors, Value
from records.evaluation.impulse.parameters import evaluate_impulse
from records.evaluation.impulse.rounding import Staircase, noise_in_steps, step_of
from records.evaluation.impulse.synthesis import Oscillation, synthesise_impulse, wave_with_crest
from records.evaluation.measured import resolution_of

CASES = [(bits, noise) for bits in (8, 10, 12, 14) for noise in (0.0, 0.1, 0.3)]
"""Bits of the recorder, and noise before rounding in steps."""

LONG = [(8, 0.0), (12, 0.0)]
"""Those of which every run of the tests takes 1000 draws; of the others fewer, see SOURCE.md for 1000 of each."""


def rounded(seed, bits, noise, *, interval_us=0.01, has_overshoot=False, is_chopped=False):
    """Return time [s] and voltage [kV] of one draw, and its true Ut, T1, T2, β′.

    Crest, polarity, front, tail, start and offset are drawn, and the recorder's range: 2.2 to 3 times the crest, so
    that the crest lies anywhere within a step. An overshoot has no closed form: true is the wave without steps.
    """
    chance = np.random.default_rng(seed)
    crest = chance.uniform(50, 200)
    sign = chance.choice([-1, 1])
    wave = wave_with_crest(
        sign * crest,
        slow_us=chance.uniform(55, 85),
        fast_us=chance.uniform(0.3, 0.5),
        start_us=10 + chance.uniform(0, 0.01),
    )
    step = chance.uniform(2.2, 3) * crest / 2**bits
    swing = Oscillation(chance.uniform(0.03, 0.08), chance.uniform(0.3, 0.7)) if has_overshoot else None
    record = synthesise_impulse(
        wave,
        seed=seed,
        duration_us=90,
        interval_us=interval_us,
        oscillation=swing,
        chopped_after_us=float(chance.uniform(6, 12)) if is_chopped else None,
    )
    exact = record.channels["voltage_kv"]
    noisy = exact + chance.uniform(-3, 3) + noise * step * chance.standard_normal(len(exact))
    shape = shape_of(wave)
    true = (crest, shape.front_us, shape.half_value_us, 0.0)
    if has_overshoot:
        true = tuple(one.value for one in four(evaluate_impulse(record.time_s, exact)))
    return record.time_s, np.round(noisy / step) * step, true


def four(impulse):
    return (impulse.test_voltage_kv, impulse.front_us, impulse.half_value_us, impulse.overshoot_pct)


def shares_inside(draws, bits, noise, *, first_seed=500_000, **how):
    """Return by parameter in how many of the draws the true value lies inside U; what has no value is left out."""
    inside = {}
    for seed in range(first_seed, first_seed + draws):
        time_s, voltage_kv, true = rounded(seed, bits, noise, **how)
        impulse = evaluate_impulse(time_s, voltage_kv)
        for name, value, exact in zip(("Ut", "T1", "T2", "overshoot"), four(impulse), true, strict=True):
            if value.value is not None:
                inside.setdefault(name, []).append(abs(value.value - exact) <= value.expanded_uncertainty)
    return {name: float(np.mean(hits)) for name, hits in inside.items()}


@pytest.mark.parametrize(("bits", "noise"), [case for case in CASES if case not in LONG])
def test_of_some_draws_of_each_recorder_95_percent_lie_inside(bits, noise):
    """Bounds: four standard deviations of a share of 0.9545 in 60 draws are 11 %."""
    for name, share in shares_inside(60, bits, noise, interval_us=0.02).items():
        assert share >= 0.84, f"{name}: {share:.3f}"


@pytest.mark.slow
@pytest.mark.timeout(280)
@pytest.mark.parametrize(("bits", "noise"), LONG)
def test_of_a_thousand_draws_of_a_coarse_recorder_95_percent_lie_inside(bits, noise):
    """Bounds 93 to 97 %: two and a half standard deviations of a count of 1000 around 95.45 %."""
    for name, share in shares_inside(1000, bits, noise, interval_us=0.02).items():
        assert 0.93 <= share <= 0.97, f"{name}: {share:.3f}"


@pytest.mark.parametrize("how", [{"has_overshoot": True}, {"is_chopped": True}], ids=["overshoot", "chopped"])
def test_overshoot_and_chopping_on_a_coarse_recorder(how):
    """Bounds as above. Chopped at 6 to 12 µs: at 3 µs, drawn at first, 8 bits stand on one step until the collapse.

    Such a record is refused as clipped, so it has no interval.
    """
    shares = shares_inside(60, 8, 0.1, interval_us=0.02, **how)
    assert set(shares) == ({"Ut", "T1"} if "is_chopped" in how else {"Ut", "T1", "T2", "overshoot"})
    for name, share in shares.items():
        assert share >= 0.84, f"{name}: {share:.3f}"


@pytest.mark.parametrize("sigma", [0.0, 0.03, 0.1, 0.3, 0.5])
def test_mean_and_variance_of_rounding_make_up_the_whole(sigma):
    """Closed form: over all places of the steps the error has mean 0 and variance σ² + 1/12."""
    stairs = Staircase.with_noise(sigma)
    assert stairs.mean.mean() == pytest.approx(0, abs=1e-12)
    assert np.mean(stairs.mean**2 + stairs.variance) == pytest.approx(sigma**2 + 1 / 12, abs=1e-5)  # 512 places


def test_the_staircase_of_much_noise_is_the_first_harmonic():
    """Closed form: of the sawtooth -sin(2πx)/π exp(-2π²σ²) is left; the next is 1e-6 of a step at σ = 0.4."""
    places = (np.arange(512) + 0.5) / 512
    left = -np.sin(2 * np.pi * places) / np.pi * np.exp(-2 * np.pi**2 * 0.4**2)
    np.testing.assert_allclose(Staircase.with_noise(0.4).at(places + 7), left, atol=2e-6)


@pytest.mark.parametrize("bits", [8, 10, 12, 14])
@pytest.mark.parametrize("sigma", [0.0, 0.03, 0.1, 0.3, 0.5])
def test_noise_below_a_step_is_seen(bits, sigma):
    """Tolerance: 0.05 of a step, five of the standard deviations that 30 draws of each showed (0.01 at most)."""
    chance = np.random.default_rng([bits, round(100 * sigma)])
    wave = wave_with_crest(100.0)
    step = 2.4 * 100.0 / 2**bits
    exact = wave.at(np.arange(9000) * 0.01)
    found = np.round((exact + 0.37 + sigma * step * chance.standard_normal(9000)) / step) * step
    assert step_of(found, resolution_of(found)) == pytest.approx(step, rel=1e-9)
    assert noise_in_steps(found[800:5000], exact[800:5000], step) == pytest.approx(sigma, abs=0.05)


def test_values_between_equal_steps_have_no_recorder():
    values = np.random.default_rng(1).standard_normal(500)
    assert step_of(values, resolution_of(values)) == 0.0
    assert step_of(np.zeros(5), 0.0) == 0.0


def test_factor_of_a_rectangle_and_of_a_normal_distribution():
    """Closed form: 0.9545 of the half width is 1.653 times its standard deviation; a normal one has 2."""
    even = (np.arange(1000) + 0.5) / 1000 - 0.5
    assert Errors(even, 0.0).standard == pytest.approx(1 / np.sqrt(12), rel=1e-6)
    assert Errors(even, 0.0).coverage_factor == pytest.approx(0.9545 * np.sqrt(3), abs=2e-3)
    assert Errors(np.zeros(3), 2.0).coverage_factor == pytest.approx(2.0, abs=1e-5)
    assert Errors(np.zeros(3), 0.0).coverage_factor == 2.0


@pytest.mark.parametrize("ratio", [0.1, 0.3, 0.5, 1.0, 2.0, 4.0])
def test_instruments_beside_a_rectangle(ratio):
    """A rectangle and a normal distribution drawn together a million times: the stated interval holds 94 to 97 %."""
    chance = np.random.default_rng(3)
    errors = chance.uniform(-1, 1, 1_000_000) + ratio / np.sqrt(3) * chance.standard_normal(1_000_000)
    value = Value(1.0, 1 / np.sqrt(3), coverage_factor=0.9545 * np.sqrt(3))
    expanded, factor = value.with_relative(ratio / np.sqrt(3))
    assert 0.94 <= np.mean(np.abs(errors) <= expanded) <= 0.97
    assert factor <= 2.0
