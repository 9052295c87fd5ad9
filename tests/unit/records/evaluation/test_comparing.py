"""Values beside sisters and earlier runs."""

from __future__ import annotations

import math

import pytest

from records.evaluation.comparing import Change, beside_sisters, change_since

SISTERS = [20.0, 20.4, 19.6, 20.2, 19.8]  # median 20, absolute deviations 0 0.4 0.4 0.2 0.2: MAD 0.2


def test_median_and_deviation_by_hand():
    found = beside_sisters(20.5, SISTERS)
    assert (found.median, found.count) == (20.0, 5)
    assert found.deviation == pytest.approx(0.29652)
    assert found.score == pytest.approx(0.5 / 0.29652)
    assert not found.is_outlier


@pytest.mark.parametrize(("value", "is_outlier"), [(21.03, False), (21.05, True), (18.97, False), (18.95, True)])
def test_more_than_three_and_a_half_deviations_stand_out(value, is_outlier):
    assert beside_sisters(value, SISTERS).is_outlier is is_outlier  # 3.5 · 0.29652 = 1.0378


def test_one_odd_sister_does_not_hide_another():
    assert beside_sisters(30.0, [*SISTERS, 31.0]).is_outlier


def test_a_spread_below_the_uncertainty_tells_nothing():
    assert beside_sisters(21.0, SISTERS, expanded_uncertainty=1.2).is_outlier is False


def test_equal_sisters():
    assert beside_sisters(5.0, [5.0] * 4).score == 0.0
    assert math.isinf(beside_sisters(5.1, [5.0] * 4).score)
    assert beside_sisters(5.1, [5.0] * 4, expanded_uncertainty=0.4).is_outlier is False


@pytest.mark.parametrize(
    ("value", "sisters"), [(1.0, [1.0, 2.0]), (math.nan, SISTERS), (1.0, [1.0, 2.0, math.nan, math.inf])]
)
def test_too_little_is_known(value, sisters):
    assert beside_sisters(value, sisters) is None


def test_changes():
    assert change_since(95.0, 100.0, 3.0, 4.0) == Change(-5.0, -5.0, False)
    assert change_since(94.9, 100.0, 3.0, 4.0).is_beyond_uncertainty is True
    assert change_since(1.0, 0.0) == Change(1.0, None, None)
