"""How an instrument was found against the accuracy required: each answer by hand."""

from __future__ import annotations

import pytest

from equipment.metrology.accuracy import ErrorPoint, RequiredAccuracy, error_curve, judge_points

ONE_PER_CENT = RequiredAccuracy("kV", 0, 100, pct=1)


@pytest.mark.parametrize(
    ("reading", "spread", "finding"),
    [
        (50.49, 0.005, "within"),
        (50.5, 0.0, "within"),  # on the limit, nothing in doubt
        (50.4, 0.2, "doubtful"),  # 0.4 + 0.2 > 0.5
        (50.51, 0.005, "outside"),
        (49.4, 0.1, "outside"),
    ],
)
def test_a_point_of_50_kv_with_one_per_cent_allowed(reading, spread, finding):
    assert judge_points([ErrorPoint("kV", 50, reading, spread)], [ONE_PER_CENT]).finding == finding


def test_the_worst_point_speaks_and_says_where():
    points = [ErrorPoint("kV", 10, 10.01, 0.01), ErrorPoint("kV", 100, 101.5, 0.1)]
    stated = judge_points(points, [ONE_PER_CENT])
    assert stated.finding == "outside"
    assert stated.reason == "At 100 kV the error is +1.5 kV, allowed are ±1 kV."
    assert [entry.finding for entry in stated.points] == ["within", "outside"]


def test_a_constant_adds_to_the_part_and_the_strictest_range_counts():
    rule = RequiredAccuracy("kV", 0, 100, pct=1, absolute=0.2)
    assert rule.at(50) == pytest.approx(0.7)
    strict = RequiredAccuracy("kV", 40, 60, absolute=0.1)
    assert judge_points([ErrorPoint("kV", 50, 50.3, 0.01)], [rule]).finding == "within"
    assert judge_points([ErrorPoint("kV", 50, 50.3, 0.01)], [rule, strict]).finding == "outside"


def test_nothing_required_states_nothing():
    assert judge_points([], [ONE_PER_CENT]).finding == "not_stated"
    assert judge_points([ErrorPoint("pC", 50, 60, 1)], [ONE_PER_CENT]).finding == "not_stated"
    assert judge_points([ErrorPoint("kV", 150, 160, 1)], [ONE_PER_CENT]).finding == "not_stated"


@pytest.mark.parametrize("wrong", [{}, {"pct": -1}, {"absolute": float("nan")}, {"pct": 1, "low": 5, "high": 1}])
def test_a_required_accuracy_that_cannot_be(wrong):
    with pytest.raises(ValueError):
        RequiredAccuracy(**{"unit": "kV", "low": 0, "high": 1, **wrong})


def test_the_curve_goes_through_its_points_and_keeps_the_relative_error_beyond():
    curve = error_curve([ErrorPoint("kV", 50, 51, 0.1), ErrorPoint("kV", 100, 103, 0.1)])
    assert [curve.at(51), curve.at(77), curve.at(103)] == pytest.approx([1.0, 2.0, 3.0])
    assert curve.at(25.5) == pytest.approx(0.5)  # 1/51 of the reading below the first point
    assert curve.at(206) == pytest.approx(6.0)  # 3/103 above the last
    with pytest.raises(ValueError):
        curve.at(float("nan"))
    with pytest.raises(ValueError, match="one unit"):
        error_curve([ErrorPoint("kV", 1, 1, 0.1), ErrorPoint("pC", 1, 1, 0.1)])
