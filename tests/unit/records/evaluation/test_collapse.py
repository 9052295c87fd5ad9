"""Disruptive discharges told from orderly ramps, changes of stage and switching off."""

from __future__ import annotations

import numpy as np
import pytest

from records.evaluation.collapse import find_collapses
from records.evaluation.step import Stage

STAGES = (Stage("a", 50.0, 60.0, 3.0), Stage("b", 25.0, 60.0, 3.0), Stage("c", 10.74, 120.0, 3.0))
ONE = STAGES[:1]


def profile(corners, interval_s):
    at_s, level_kv = np.transpose(np.array(corners, dtype=float))
    time_s = np.arange(round(at_s[-1] / interval_s) + 1) * interval_s
    return time_s, np.interp(time_s, at_s, level_kv)


@pytest.mark.parametrize("interval_s", [0.001, 0.01, 0.1, 0.25, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("at_s", [20.0, 60.0])  # on the way up, during the hold
def test_a_collapse_is_seen_at_every_sampling(interval_s, at_s):
    time_s, voltage = profile([(0, 0), (40, 50), (100, 50), (140, 0)], interval_s)
    before = voltage[time_s < at_s][-1]
    voltage[time_s >= at_s] = 0.1
    (collapse,) = find_collapses(time_s, voltage, ONE)
    assert collapse.time_s == pytest.approx(at_s, abs=1.001 * interval_s)
    assert collapse.from_kv == pytest.approx(before, abs=0.5)
    assert collapse.to_kv == 0.1


@pytest.mark.parametrize("interval_s", [0.01, 0.1, 0.5])
def test_a_collapse_that_the_meter_shows_over_several_samples(interval_s):
    time_s, voltage = profile([(0, 0), (40, 50), (60, 50), (60.2, 2), (90, 0)], interval_s)
    assert len(find_collapses(time_s, voltage, ONE)) == 1


@pytest.mark.parametrize("interval_s", [0.01, 0.1, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("down_s", [5.0, 15.0, 60.0])
def test_an_orderly_ramp_down_is_none(interval_s, down_s):
    time_s, voltage = profile([(0, 0), (40, 50), (90, 50), (90 + down_s, 0), (120 + down_s, 0)], interval_s)
    assert find_collapses(time_s, voltage, ONE) == ()


@pytest.mark.parametrize("interval_s", [0.01, 0.1, 1.0])
def test_quick_changes_of_stage_are_none(interval_s):
    corners = [(0, 0), (40, 50), (100, 50), (100.01, 25), (160, 25), (160.01, 10.74), (280, 10.74), (290, 0)]
    time_s, voltage = profile(corners, interval_s)
    assert find_collapses(time_s, voltage, STAGES) == ()


def test_a_collapse_between_stages_is_one():
    time_s, voltage = profile([(0, 0), (40, 50), (100, 50), (120, 25), (180, 25), (200, 10.74), (320, 10.74)], 0.1)
    voltage[time_s >= 110] = 0.0
    assert len(find_collapses(time_s, voltage, STAGES)) == 1


def test_a_collapse_in_the_lowest_stage_is_one():
    time_s, voltage = profile([(0, 0), (40, 50), (100, 50), (120, 25), (180, 25), (200, 10.74), (320, 10.74)], 0.1)
    voltage[time_s >= 250] = 0.0
    (collapse,) = find_collapses(time_s, voltage, STAGES)
    assert collapse.from_kv == pytest.approx(10.74)


def test_the_source_switched_off_low_on_the_way_down_is_none():
    time_s, voltage = profile([(0, 0), (40, 50), (90, 50), (130, 5), (140, 5)], 0.1)
    voltage[time_s >= 135] = 0.0
    assert find_collapses(time_s, voltage, ONE) == ()


def test_a_voltage_that_comes_back_is_counted_each_time():
    time_s, voltage = profile([(0, 0), (40, 50), (100, 50), (140, 0)], 0.1)
    voltage[(time_s >= 60) & (time_s < 62)] = 1.0
    voltage[(time_s >= 80) & (time_s < 82)] = 1.0
    assert len(find_collapses(time_s, voltage, ONE)) == 2


def test_noise_is_none():
    time_s, voltage = profile([(0, 0), (40, 50), (100, 50), (140, 0)], 0.1)
    voltage = np.abs(voltage * (1 + 0.02 * np.random.default_rng(3).standard_normal(len(voltage))))
    assert find_collapses(time_s, voltage, ONE) == ()


def test_samples_too_far_apart_tell_nothing():
    time_s, voltage = profile([(0, 0), (40, 50), (100, 50)], 5.0)
    voltage[time_s >= 60] = 0.0
    assert find_collapses(time_s, voltage, ONE) == ()
