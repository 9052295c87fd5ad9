"""Noise whose neighbours are alike: against what means of such noise really scatter by."""

from __future__ import annotations

import numpy as np
import pytest

from equipment.metrology.serial import serial_factor


def test_independent_noise_keeps_its_variance_nearly_always():
    factors = [serial_factor(np.random.default_rng(seed).standard_normal(400)) for seed in range(300)]
    assert np.median(factors) == 1.0
    assert np.mean(np.array(factors) > 1) < 0.05  # 2.3 % of a normal distribution lie above two sigmas


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
