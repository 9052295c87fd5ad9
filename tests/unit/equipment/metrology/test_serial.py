"""Noise whose neighbours are alike: against what means of such noise really scatter by."""

from __future__ import annotations

import numpy as np
import pytest

from equipment.metrology.serial import counted, freedom_of, likeness, serial_factor


def test_independent_noise_keeps_its_variance_nearly():
    factors = [serial_factor(np.random.default_rng(seed).standard_normal(400)) for seed in range(300)]
    assert np.median(factors) < 1.02
    assert np.mean(factors) < 1.1


@pytest.mark.parametrize("every", [2, 3])
def test_what_stands_for_several_readings_counts_as_one_of_them(every):
    """Each reading written so many times: a mean scatters by as many times the variance."""
    factors = [serial_factor(np.repeat(np.random.default_rng(seed).standard_normal(400), every)) for seed in range(200)]
    assert np.mean(factors) == pytest.approx(every, rel=0.1)


def test_readings_interpolated_to_twice_the_rate():
    """Half of them are means of two neighbours: Σ over lags of the triangle of 1/2 width is 2/(3/4) = 8/3."""
    factors = []
    for seed in range(200):
        noise = np.random.default_rng(seed).standard_normal(600)
        factors.append(serial_factor(np.interp(np.arange(0, 599, 0.5), np.arange(600), noise)))
    assert np.mean(factors) == pytest.approx(8 / 3, rel=0.1)


@pytest.mark.parametrize("values", [[], [1.0] * 40, [1.0, 2.0, 3.0], [1.0, -1.0] * 30])
def test_too_few_equal_or_unlike_neighbours_change_nothing(values):
    assert serial_factor(values) == 1.0


def test_a_mean_of_few_alike_readings_by_hand():
    """Three readings, ρ_1 = 1/2: aᵀΣa = (3 + 2)/9, tr(MΣ) = 3 - 5/3, so c = 5/12; ν = tr(MΣ)²/tr(MΣMΣ)."""
    share, freedom = counted(np.ones((3, 1)), np.ones(1), [0.5])
    assert share == pytest.approx(5 / 12, rel=1e-12)
    assert freedom == pytest.approx((4 / 3) ** 2 / (1 + (1 / 3) ** 2), rel=1e-12)  # eigenvalues of MΣM: 1, 1/3, 0


def test_correlations_end_with_the_first_that_chance_could_give():
    found = likeness(np.repeat(np.random.default_rng(3).standard_normal(500), 2))
    assert found[0] == pytest.approx(0.5, abs=0.1)
    assert len(found) < 5
    assert freedom_of(100, 4, 2.0) == 46.0
    assert freedom_of(6, 4, 3.0) == 1.0


def test_correlations_that_no_noise_can_have_still_give_a_variance():
    """Seven readings, each like its neighbours by 0.9 and like no other: ones, -ones in turn would vary by below 0."""
    columns, alike = np.ones((7, 1)), [0.9]
    turn = np.array([1.0, -1.0] * 3 + [1.0])
    assert turn @ (np.eye(7) + 0.9 * (np.eye(7, k=1) + np.eye(7, k=-1))) @ turn < 0
    slope = np.column_stack([np.ones(7), turn])
    share, freedom = counted(slope, np.array([0.0, 1.0]), alike)
    assert share > 0
    assert freedom >= 1
    share, freedom = counted(columns, np.ones(1), [])
    assert (share, freedom) == pytest.approx((1 / 42, 6))  # s²/n = Σ r²/(n (n - 1))


def test_no_more_readings_than_parameters_tell_nothing():
    with pytest.raises(ValueError, match="do not tell more than the parameters"):
        counted(np.eye(3), np.ones(3), [])
