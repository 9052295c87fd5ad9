"""What is odd about a record is told, and what is sound is not called odd."""

from __future__ import annotations

import numpy as np
import pytest

from records.readers.plausibility import Declared, declared_in, found_frequency_hz, of_sampling, of_waves, steps_of

TIME = np.arange(2000) / 10_000
WAVE = 10 * np.sin(2 * np.pi * 50 * TIME)


@pytest.mark.parametrize("hertz", [16.7, 49.0, 50.0, 60.0, 75.3, 400.0])
@pytest.mark.parametrize("noise", [0.0, 0.05])
def test_the_frequency_found_is_the_one_made(hertz, noise):
    wave = np.sin(2 * np.pi * hertz * TIME + 0.3) + noise * np.random.default_rng(1).standard_normal(len(TIME))
    # The record holds 0.2 s, so a line of its spectrum is 5 Hz wide; interpolation finds a fifth of that and better.
    assert found_frequency_hz(TIME, wave) == pytest.approx(hertz, abs=1.0)


def test_no_frequency_is_made_up():
    assert found_frequency_hz(TIME, np.zeros(len(TIME))) is None
    assert found_frequency_hz(np.sort(np.random.default_rng(1).uniform(0, 1, 2000)), WAVE) is None


def waves(values, declared_hz=None, is_impulse=False):
    return of_waves(TIME, {"voltage_kv": values}, Declared(declared_hz), is_impulse)


def test_another_frequency_than_declared_is_told():
    assert waves(WAVE, 60.0) == ["The file declares 60 Hz; voltage_kv has 50 Hz."]
    assert waves(WAVE, 50.0) == waves(WAVE) == []


def test_a_trend_has_no_frequency():
    assert waves(np.abs(WAVE) + 20, 60.0) == []


@pytest.mark.parametrize("level", [9.9, 9.0, 5.0])
def test_a_crest_that_is_cut_off_is_told(level):
    assert waves(np.clip(WAVE, -level, level))[0].startswith(f"voltage_kv is cut off at {-level:g}: ")
    assert waves(np.minimum(WAVE, level))[0].startswith(f"voltage_kv is cut off at {level:g}: 10 crests")


@pytest.mark.parametrize("digit", [1e-6, 0.01, 0.08, 0.3])
def test_a_crest_that_is_only_coarsely_quantised_is_not(digit):
    assert waves(np.round(WAVE / digit) * digit) == []


def test_a_held_trend_stands_still_without_being_cut():
    trend = np.round(np.interp(TIME, [0, 0.05, 0.15, 0.2], [0, 30, 30, 0]), 1)
    assert waves(trend) == []


def test_an_impulse_that_is_cut_off_is_told():
    impulse = 100 * (np.exp(-TIME / 0.05) - np.exp(-TIME / 0.0004))
    assert waves(impulse, is_impulse=True) == []
    assert waves(np.minimum(impulse, 80), is_impulse=True)[0].startswith("voltage_kv is cut off at 80: 1 crests")


def sampling(time_s, rate=None):
    return of_sampling(time_s, steps_of(time_s), Declared(rate_per_s=rate))


def test_dropped_samples_are_counted():
    kept = np.delete(TIME, [100, 101, 500])
    assert sampling(kept) == ["About 3 samples are missing at 2 places, the first after 0.0099 s."]


def test_times_that_are_irregular_anyway_miss_nothing():
    assert sampling(np.cumsum(np.random.default_rng(1).uniform(0.5, 2.4, 500))) == []


def test_another_rate_than_declared_is_told():
    assert sampling(TIME, 10_000) == []
    assert sampling(TIME, 5_000) == [
        "The file declares 5000 samples a second; its times are 0.0001 s apart, which is 10000 a second. "
        "The times were used."
    ]


def test_intervals_are_the_same_looked_at_in_parts():
    time_s = np.sort(np.random.default_rng(3).uniform(0, 1e4, 700_000).round(2))
    steps, seen = np.diff(time_s), steps_of(time_s)
    assert (seen.least_s, seen.longest_s, seen.equal) == (steps.min(), steps.max(), int((steps == 0).sum()))
    assert seen.usual_s == pytest.approx(np.median(steps), abs=0.01)
    time_s[600_000] = -1
    assert steps_of(time_s).falls_at == 600_000


@pytest.mark.parametrize(
    ("metadata", "declared"),
    [
        ({"Frequency": "50 Hz", "Sample rate": "10 kS/s"}, Declared(50.0, 10_000.0)),
        ({"Sampling interval": "100 µs"}, Declared(None, 10_000.0)),
        ({"Nominal_Frequency": "60", "fs": "2 MHz"}, Declared(60.0, 2e6)),
        ({"Frequency": "fifty", "Sample rate": "0", "dt": "soon"}, Declared()),
        ({"Frequency": "1.2.3 Hz"}, Declared()),
    ],
)
def test_what_a_file_declares(metadata, declared):
    seen = declared_in(metadata)
    assert (seen.frequency_hz, seen.rate_per_s) == pytest.approx((declared.frequency_hz, declared.rate_per_s))
