"""Traces compared: coefficients by hand, and what must and must not change them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from records.evaluation.sweep.likeness import NotComparable, compare_traces, correlation, relative_factor

FREQUENCY = np.geomspace(1e3, 1e6, 601)
LEVEL = -20 + 10 * np.sin(3 * np.log10(FREQUENCY))


def test_the_correlation_by_hand():
    """x - x̄ = (-1, 0, 1), y - ȳ = (-2, 1, 1): 3/√(2·6) = 0.866025."""
    assert correlation(np.array([1.0, 2.0, 3.0]), np.array([0.0, 3.0, 3.0])) == pytest.approx(math.sqrt(3) / 2)


def test_the_relative_factor_by_hand():
    """1 - 0.8660254 = 0.1339746, -lg of it 0.872977."""
    assert relative_factor(np.array([1.0, 2.0, 3.0]), np.array([0.0, 3.0, 3.0])) == pytest.approx(0.872977, abs=1e-6)
    assert relative_factor(LEVEL, LEVEL) == 10.0


def test_a_shift_of_the_level_leaves_the_correlation_and_is_the_log_error():
    found = compare_traces((FREQUENCY, LEVEL), (FREQUENCY, LEVEL + 3.0))
    assert found.correlation == pytest.approx(1)
    assert found.log_error_db == pytest.approx(3.0)
    assert found.factors == {"low": 10.0, "middle": 10.0, "high": 10.0}


def test_another_grid_is_the_same_trace():
    other = np.geomspace(500, 2e6, 3001)
    found = compare_traces((FREQUENCY, LEVEL), (other, -20 + 10 * np.sin(3 * np.log10(other))))
    assert found.correlation == pytest.approx(1, abs=1e-6)
    assert found.log_error_db < 0.01
    assert found.range_hz == pytest.approx((1e3, 1e6))


def test_bands_that_are_not_covered_have_no_factor():
    part = (FREQUENCY >= 1e3) & (FREQUENCY <= 2e5)
    assert set(compare_traces((FREQUENCY, LEVEL), (FREQUENCY[part], LEVEL[part])).factors) == {"low"}


def test_constant_traces_are_alike_only_where_they_are_equal():
    assert correlation(np.ones(5), np.ones(5)) == 1.0
    assert correlation(np.ones(5), np.arange(5.0)) == 0.0


def test_traces_that_share_nothing_are_refused():
    with pytest.raises(NotComparable, match="share too few frequencies"):
        compare_traces((FREQUENCY, LEVEL), (FREQUENCY * 1e4, LEVEL))


@pytest.mark.parametrize("other", [LEVEL + 0.3 * np.sin(5 * np.log10(FREQUENCY)), LEVEL])
def test_the_uncertainty_of_a_comparison_is_the_spread_of_many(other):
    """Noise of 0.05 dB on both traces, 400 times: the spread of what is found against what each states."""
    found = []
    for seed in range(400):
        chance = np.random.default_rng(30_000 + seed)
        noisy = [level + 0.05 * chance.standard_normal(len(LEVEL)) for level in (LEVEL, other)]
        found.append(compare_traces((FREQUENCY, noisy[0]), (FREQUENCY, noisy[1])))
    exact = compare_traces((FREQUENCY, LEVEL), (FREQUENCY, other))
    away = np.array([one.correlation - exact.correlation for one in found])
    stated = np.array([one.u_correlation for one in found])
    assert 0.7 < np.sqrt(np.mean(away**2)) / np.mean(stated) < 1.3
    errors = np.array([one.log_error_db for one in found])
    assert np.std(errors) / np.mean([one.u_log_error_db for one in found]) < 1.1  # less where the traces are alike
