"""Intervals, drift, control charts, comparison."""

from __future__ import annotations

import math

import pytest

from equipment.metrology.comparison import en_score
from equipment.metrology.control import D2, D4, ewma_chart, individuals_chart, nelson_rules
from equipment.metrology.intervals import drift_to_limit, shortening_factor, simple_response


def test_steady_state_of_the_simple_response():
    b = shortening_factor(0.2, 0.9)
    assert 1.2**0.9 * (1 - b) ** 0.1 == pytest.approx(1)


def test_simple_response_grows_shrinks_and_keeps_its_bounds():
    assert simple_response(400, was_in_tolerance=True) == pytest.approx(440)
    assert simple_response(400, was_in_tolerance=False) == pytest.approx(400 * 1.1**-19)  # R/(1 − R) = 19
    assert simple_response(100, was_in_tolerance=False) == 30
    assert simple_response(1800, was_in_tolerance=True) == 1826


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: shortening_factor(0, 0.9), "extension must be"),
        (lambda: shortening_factor(0.1, 1), "target reliability must lie"),
        (lambda: simple_response(0, was_in_tolerance=True), "interval must be"),
        (lambda: simple_response(10, was_in_tolerance=True, shortest_days=9, longest_days=8), "shortest interval"),
        (lambda: drift_to_limit([0, 1, 2], [0, 0, 0], limit=0, expanded_uncertainty=1), "permissible error"),
        (lambda: drift_to_limit([0, 1, 2], [0, 0, 0], limit=1, expanded_uncertainty=-1), "expanded uncertainty"),
        (
            lambda: drift_to_limit([0, 1, 2], [0, 0, 0], limit=1, expanded_uncertainty=0, horizon_days=0),
            "horizon",
        ),
        (lambda: drift_to_limit([0, 1], [0, 0], limit=1, expanded_uncertainty=0), "at least 3 points"),
    ],
)
def test_refused_intervals(call, message):
    with pytest.raises(ValueError, match=message):
        call()


@pytest.mark.parametrize("sign", [1, -1])
def test_drift_without_scatter_reaches_the_limit_where_the_line_says(sign):
    errors = [sign * error for error in (0.0, 0.365, 0.730)]  # 0.001 a day, so 1.5 − 0.2 is reached on day 1300
    drift = drift_to_limit([0, 365, 730], errors, limit=1.5, expanded_uncertainty=0.2)
    assert drift.reaches_limit_at_days == pytest.approx(1300)
    assert drift.latest_days == 730


def test_scatter_brings_the_day_forward_and_stands_on_the_edge_of_its_band():
    days, errors = [0, 365, 730, 1095], [0.00, 0.38, 0.72, 1.10]
    drift = drift_to_limit(days, errors, limit=2.0, expanded_uncertainty=0.0)
    at = drift.reaches_limit_at_days
    straight = (2.0 - drift.line.intercept) / drift.line.slope
    assert 1095 < at < straight
    assert drift.band(at)[1] == pytest.approx(2.0, abs=1e-9)


def test_drift_that_stays_inside_or_is_outside_already():
    assert drift_to_limit([0, 1, 2], [0, 0, 0], limit=1, expanded_uncertainty=0.5).reaches_limit_at_days is None
    assert drift_to_limit([0, 1, 2], [2, 2, 2], limit=1, expanded_uncertainty=0.5).reaches_limit_at_days == 2


def test_individuals_chart_by_hand():
    chart = individuals_chart([10, 12, 11, 13])  # ranges 2, 1, 2
    assert chart.centre == 11.5
    assert chart.moving_ranges.tolist() == [2, 1, 2]
    assert chart.sigma == pytest.approx(5 / 3 / 1.128, rel=5e-4)
    assert chart.upper == pytest.approx(11.5 + 2.66 * 5 / 3, rel=5e-4)
    assert chart.lower == pytest.approx(11.5 - 2.66 * 5 / 3, rel=2e-3)
    assert chart.moving_range_upper == pytest.approx(3.267 * 5 / 3, rel=5e-4)


def test_constants_are_the_tabulated_ones():
    assert round(D2, 3) == 1.128
    assert round(D4, 3) == 3.267


def test_ewma_by_hand():
    chart = ewma_chart([10, 12, 14], centre=10, sigma=1, weight=0.5, width=2)
    assert chart.averages.tolist() == [10, 11, 12.5]
    reach = [2 * math.sqrt(1 / 3 * (1 - 0.25**n)) for n in (1, 2, 3)]
    assert chart.upper.tolist() == pytest.approx([10 + each for each in reach])
    assert chart.lower.tolist() == pytest.approx([10 - each for each in reach])
    assert chart.signals() == (2,)


def test_ewma_finds_a_small_shift_that_single_values_hide():
    values = [0.0] * 5 + [1.2] * 15
    assert nelson_rules(values, centre=0, sigma=1)[1] == ()
    # After n shifted values z = 1.2 (1 − 0.8ⁿ); the limit is √(1 − 0.8^(2(5 + n))).
    # n = 7: 0.948 < 0.998; n = 8: 0.9987 > 0.9985, so the signal comes with the 13th value.
    assert ewma_chart(values, centre=0, sigma=1).signals()[0] == 12


@pytest.mark.parametrize(
    ("rule", "values", "where"),
    [
        (1, [0, 3.0, 3.01, -3.5], (2, 3)),
        (2, [0.1] * 8 + [-0.1] + [0.1] * 9, (17,)),
        (2, [0.1] * 10, (8, 9)),
        (2, [0.1] * 8 + [0.0], ()),
        (3, [0, 1, 2, 3, 4, 5, 6], (5, 6)),
        (3, [5, 4, 3, 2, 1, 0], (5,)),
        (3, [0, 1, 2, 2, 3, 4, 5], ()),
        (4, [0, 1] * 7, (13,)),
        (4, [0, 1] * 6 + [0], ()),
        (4, [0, 1] * 3 + [1] + [0, 1] * 6, ()),
    ],
)
def test_nelson(rule, values, where):
    assert nelson_rules(values, centre=0, sigma=1)[rule] == where


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: individuals_chart([1]), "at least 2 values"),
        (lambda: individuals_chart([1, math.nan]), "Every value must be a finite number"),
        (lambda: ewma_chart([], centre=0, sigma=1), "at least 1 value is needed"),
        (lambda: ewma_chart([1], centre=0, sigma=-1), "sigma at least 0"),
        (lambda: ewma_chart([1], centre=0, sigma=1, weight=0), "The weight must lie"),
        (lambda: nelson_rules([1], centre=math.nan, sigma=1), "must be finite numbers"),
        (lambda: en_score(1, -1, 1, 1), "Uncertainties must be at least 0"),
        (lambda: en_score(1, 0, 1, 0), "at least one uncertainty above 0"),
        (lambda: en_score(math.nan, 1, 1, 1), "must be finite numbers"),
    ],
)
def test_refused_series(call, message):
    with pytest.raises(ValueError, match=message):
        call()


@pytest.mark.parametrize(("value", "score", "good"), [(15, 1.0, True), (5, -1.0, True), (15.1, 1.02, False)])
def test_en_score_at_its_limit(value, score, good):
    en = en_score(value, 3, 10, 4)  # √(3² + 4²) = 5
    assert en.score == pytest.approx(score)
    assert en.is_satisfactory is good
