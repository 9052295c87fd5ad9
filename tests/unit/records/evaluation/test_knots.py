"""Readings behind an interpolated record: given back exactly where it shows them, and nothing invented elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.knots import interpolated_in_words, readings_behind
from records.evaluation.slow_synthesis import Disturbance, Winding, synthesise_absorption, synthesise_cooling

RISE = {
    "kind": "temperature_rise",
    "material": "copper",
    "cold_resistance_ohm": 0.421,
    "cold_temperature_c": 22.5,
    "ambient_c": 25,
    "shutdown_s": 0,
}


def taken(seed, dropped=0.0, count=120):
    """Return times [s] 10 s apart, some missing, and noisy readings of a cooling curve."""
    chance = np.random.default_rng(seed)
    time_s = 20.0 + 10.0 * np.flatnonzero(chance.random(count) >= dropped)
    return time_s, Winding().at(time_s) + 3e-5 * chance.standard_normal(len(time_s))


def interpolated(time_s, values, share, begin=0.37):
    """Return a record interpolated to a share of 10 s, beginning a part of 10 s after the first reading."""
    even = np.arange(time_s[0] + 10 * begin, time_s[-1], 10 * share)
    return even, np.interp(even, time_s, values)


@pytest.mark.parametrize("share", [0.15, 0.3, 0.4, 0.45, 0.5])
@pytest.mark.parametrize("dropped", [0.0, 0.1])
def test_the_readings_are_given_back(share, dropped):
    """Tolerances: times to a millionth of the interval, values to what ten digits of rounding and a crossing leave."""
    time_s, values = taken(1, dropped)
    found = readings_behind(*interpolated(time_s, values, share))
    assert found.interpolated == len(interpolated(time_s, values, share)[0])
    inner = slice(1, -1)
    np.testing.assert_allclose(found.time_s, time_s[inner], atol=1e-5)
    np.testing.assert_allclose(found.values, values[inner], atol=1e-9)


def test_readings_that_lie_on_samples_are_given_back_too():
    time_s, values = taken(2)
    found = readings_behind(*interpolated(time_s, values, 0.5, begin=0.0))
    inner = slice(1, -2)  # the bend at the last sample but one may as well belong to a reading after it
    np.testing.assert_allclose(found.time_s, time_s[inner], atol=1e-5)
    np.testing.assert_allclose(found.values, values[inner], atol=1e-9)


def test_nine_written_digits_are_enough():
    """A sample is then up to 5e-10 off; divided by a bend of some 1e-8 Ω/s that leaves a part of a second."""
    time_s, values = taken(3, 0.1)
    even, written = interpolated(time_s, values, 0.4)
    found = readings_behind(even, np.array([float(f"{value:.9g}") for value in written]))
    assert len(found.values) == len(values) - 2
    np.testing.assert_allclose(found.time_s, time_s[1:-1], atol=0.5)


def smooth():
    time_s = np.arange(20.0, 1800.0, 5.0)
    return time_s, Winding().at(time_s)


def as_read(**how):
    record = synthesise_cooling(Winding(), Disturbance(seed=4, **how))
    return record.time_s, record.channels["resistance_ohm"]


@pytest.mark.parametrize(
    ("time_s", "values"),
    [
        smooth(),
        as_read(noise=3e-5),
        as_read(noise=3e-5, step=1e-5),
        as_read(noise=1e-5, step=1e-4),
        as_read(step=1e-3),
        as_read(noise=3e-5, dropped=0.1),
        as_read(noise=3e-5, resampled=0.7),
        as_read(noise=3e-5, resampled=1.7),
        (np.arange(40.0), np.zeros(40)),
        (np.arange(40.0), np.arange(40.0)),
        (np.arange(4.0), np.array([1.0, 3.0, 2.0, 5.0])),
    ],
    ids=[
        "a smooth curve, whose lines cross in every gap",
        "noise",
        "noise and steps",
        "steps coarser than the noise",
        "steps alone",
        "uneven times",
        "fewer than two samples in a piece",
        "coarser than the readings",
        "nothing but zero",
        "one straight line",
        "too few",
    ],
)
def test_a_record_that_shows_no_readings_stays_as_it_is(time_s, values):
    found = readings_behind(time_s, values)
    assert found.interpolated == 0
    assert found.time_s is time_s
    assert found.values is values
    assert interpolated_in_words(found) == ""


def test_no_noisy_record_is_taken_for_an_interpolated_one():
    """Of 400 records of 16 to 60 independent readings none: in each gap a crossing would have to fall by chance."""
    for seed in range(400):
        time_s, values = taken(seed, count=16 + seed % 45)
        assert readings_behind(time_s, values).interpolated == 0


def test_an_evaluation_says_that_it_took_the_readings():
    rise = evaluate(RISE, [synthesise_cooling(Winding(), Disturbance(noise=3e-5, resampled=0.4, seed=1))])
    said = "samples lie on straight lines between"
    assert [said in remark for remark in rise.remarks].count(True) == 1
    how = Disturbance(noise=0.01, resampled=0.4, seed=1)
    insulation = evaluate({"kind": "insulation_resistance"}, [synthesise_absorption(1500, 2.0, how)])
    assert [said in remark for remark in insulation.remarks].count(True) == 1


def test_a_cooling_curve_does_not_begin_later_because_its_first_piece_is_left_out():
    """A record from 25 s on is no late one although its first whole reading comes at 40 s."""
    record = synthesise_cooling(
        Winding(), Disturbance(noise=3e-5, resampled=0.4, seed=2), first_s=20.0, interval_s=20.0
    )
    assert record.time_s[0] < 40.0
    result = evaluate(RISE, [record])
    resistance = next(finding for finding in result.findings if finding.quantity == "resistance_ohm")
    assert resistance.value == pytest.approx(Winding().hot_ohm, abs=2e-4)


def test_a_smooth_curve_is_never_taken_for_an_interpolated_one():
    """Cooling and absorption without noise, written with 0 to 7 decimals: rounding makes some bends vanish."""
    taken = []
    for seed in range(600):
        chance = np.random.default_rng(seed)
        times = chance.choice([1, 2, 5, 10, 15, 30]) * np.arange(chance.choice([20, 60, 100, 300])) + 5.0
        if seed % 2:
            values = 0.4 + 0.1 * np.exp(-times / chance.uniform(60, 900))
        else:
            values = chance.uniform(200, 5000) * (times / 60) ** chance.uniform(0.05, 0.6)
        written = values.round(int(chance.integers(0, 8))) if chance.random() < 0.7 else values
        if readings_behind(times, written).interpolated:
            taken.append(seed)
    assert taken == []
