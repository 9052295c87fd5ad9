"""Stages found in constructed voltages whose corners are known."""

from __future__ import annotations

import numpy as np
import pytest

from records.evaluation.stages import best_attempt, find_stays, locate, longest_gap_s, usual_interval
from records.evaluation.step import Stage

HIGH = Stage("high", 30.0, 60.0, 3.0)
LOW = Stage("low", 18.0, 120.0, 3.0)


def levels(*pairs, interval_s=1.0):
    """Voltage that jumps between levels: (kV, number of samples)."""
    voltage = np.concatenate([np.full(count, float(level)) for level, count in pairs])
    return np.arange(len(voltage)) * interval_s, voltage


@pytest.mark.parametrize("interval_s", [0.01, 0.1, 1.0])
def test_n_samples_inside_are_held_for_n_intervals(interval_s):
    count = round(60 / interval_s)
    time_s, voltage = levels((0, 5), (30, count), (0, 5), interval_s=interval_s)
    (found,) = locate(time_s, voltage, [HIGH])
    assert found.stay.held_s == pytest.approx(60.0, abs=1e-6)
    assert (found.reached, found.stay.first, found.stay.last) == (5, 5, 5 + count - 1)


def test_nothing_is_added_where_the_record_begins_or_ends():
    time_s, voltage = levels((30, 61))
    assert locate(time_s, voltage, [HIGH])[0].stay.held_s == 60.0


def test_the_edges_of_the_band_belong_to_it():
    for edge in (30 * 0.97, 30 * 1.03):
        time_s, voltage = levels((0, 3), (edge, 60), (0, 3))
        assert locate(time_s, voltage, [HIGH])[0].stay.held_s == 60.0


def test_one_sample_outside_breaks_the_stay():
    time_s, voltage = levels((0, 3), (30, 40), (28, 1), (30, 50), (0, 3))
    (found,) = locate(time_s, voltage, [HIGH])
    assert (found.stay.held_s, found.reached, found.stay.first) == (50.0, 3, 44)


def test_a_gap_in_the_samples_breaks_the_stay():
    time_s, voltage = levels((0, 3), (30, 60), (0, 3))
    time_s[33:] += 20.0
    assert locate(time_s, voltage, [HIGH])[0].stay.held_s == pytest.approx(30.5, abs=0.6)


def test_a_stage_is_looked_for_after_the_one_before_it():
    time_s, voltage = levels((0, 3), (18, 10), (30, 60), (18, 120), (0, 3))
    high, low = locate(time_s, voltage, [HIGH, LOW])
    assert (high.stay.first, low.reached, low.stay.held_s) == (13, 73, 120.0)


def test_a_stage_in_the_wrong_order_is_not_reached():
    time_s, voltage = levels((0, 3), (18, 120), (30, 60), (0, 3))
    high, low = locate(time_s, voltage, [HIGH, LOW])
    assert high.stay.held_s == 60.0
    assert low is None


def test_stages_after_a_missing_one_are_still_found():
    time_s, voltage = levels((0, 3), (18, 120), (0, 3))
    high, low = locate(time_s, voltage, [HIGH, LOW])
    assert high is None
    assert low.stay.held_s == 120.0


def test_a_later_longer_stay_is_not_taken_where_the_next_stage_would_be_lost():
    time_s, voltage = levels((0, 3), (30, 60), (18, 120), (30, 90), (0, 3))
    high, low = locate(time_s, voltage, [HIGH, LOW])
    assert (high.stay.held_s, low.stay.held_s) == (60.0, 120.0)


def test_bands_that_overlap_need_not_be_left():
    first, second = Stage("a", 30.0, 60.0, 3.0), Stage("b", 29.5, 60.0, 3.0)
    time_s, voltage = levels((0, 3), (30, 60), (29.5, 60), (0, 3))
    a, b = locate(time_s, voltage, [first, second])
    assert a.stay.held_s >= 60
    assert b.stay.held_s >= 59


def test_best_attempt_below_the_band():
    time_s, voltage = levels((0, 3), (20, 10), (28.4, 52), (0, 3))
    assert best_attempt(time_s, voltage, HIGH) == (pytest.approx(28.4), 52.0)


def test_no_stay_after_the_end():
    time_s, voltage = levels((30, 5))
    assert find_stays(time_s, voltage > 0, start=9) == []


def test_usual_interval_ignores_equal_times():
    assert usual_interval(np.array([0.0, 0.0, 1.0, 1.0, 2.0])) == 1.0
    assert usual_interval(np.array([4.0, 4.0])) == 0.0
    assert (longest_gap_s(0.1), longest_gap_s(2.0)) == (1.0, 10.0)
