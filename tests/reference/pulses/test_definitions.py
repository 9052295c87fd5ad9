"""The pulse-train table and the derived quantities of IEC 60270 (see SOURCE.md)."""

from __future__ import annotations

import numpy as np
import pytest

from records.evaluation.pulse_trains import (
    DECAY_S,
    derive_quantities,
    largest_repeated_charge,
    largest_repeated_in,
    train_response,
)

# Pulses per second, least and greatest reading in percent: IEC 60270, 4.3.3, from memory.
TABLE = [(1, 35, 45), (2, 55, 65), (5, 76, 86), (10, 85, 95), (50, 94, 104), (100, 95, 105), (1000, 95, 105)]


@pytest.mark.parametrize(("rate", "least", "greatest"), TABLE)
def test_the_response_keeps_the_table(rate, least, greatest):
    assert least <= 100 * float(train_response(rate)) <= greatest


@pytest.mark.parametrize(("rate", "least", "greatest"), TABLE)
@pytest.mark.parametrize("duration_s", [10.0, 60.0])
@pytest.mark.parametrize("charge_pc", [3.0, 100.0, -250.0])
def test_equal_equidistant_pulses_read_as_the_table_says(rate, least, greatest, duration_s, charge_pc):
    time_s = (np.arange(round(rate * duration_s)) + 0.5) / rate
    reading = largest_repeated_in(time_s, np.full(len(time_s), charge_pc), 0.0, duration_s)
    assert least <= 100 * reading / abs(charge_pc) <= greatest


@pytest.mark.parametrize("rate", [1, 2, 5, 10, 50, 100])
def test_the_response_is_the_mean_of_a_detector_that_decays(rate):
    """A detector simulated in small steps: it takes each pulse at once and falls with the time constant."""
    fine = np.arange(0.0, 1.0, 2e-5)
    since_pulse = fine % (1 / rate)
    assert float(train_response(rate)) == pytest.approx(np.exp(-since_pulse / DECAY_S).mean(), rel=1e-3)


def test_no_pulses_read_nothing():
    assert float(train_response(0.0)) == 0.0
    assert largest_repeated_charge(np.array([]), 10.0) == 0.0
    with pytest.raises(ValueError, match="above 0 s"):
        largest_repeated_charge(np.array([1.0]), 0.0)


def test_one_great_pulse_is_not_the_largest_repeated_magnitude():
    charges = np.concatenate([np.full(1000, 50.0), [500.0]])  # 100 per second, and one of ten times the charge
    assert largest_repeated_charge(charges, 10.0) == pytest.approx(50 * float(train_response(100.1)))


def test_great_pulses_that_repeat_are():
    charges = np.concatenate([np.full(1000, 50.0), np.full(100, 500.0)])  # and ten per second of ten times the charge
    assert largest_repeated_charge(charges, 10.0) == pytest.approx(500 * float(train_response(10)))


def test_a_burst_of_two_seconds_in_a_minute_is_not_averaged_away():
    time_s = 30.0 + np.arange(200) / 100
    reading = largest_repeated_in(time_s, np.full(200, 80.0), 0.0, 60.0)
    assert reading == pytest.approx(80 * float(train_response(20)))  # 200 pulses in a stretch of 10 s
    assert reading > 0.9 * 80


def test_the_example_of_the_derived_quantities():
    """By hand, 20 ms: 4 pulses; Σ|q| 360 pC; Σq² 34 400 pC²; Σqu 1200 + 880 + 1500 + 600 = 4180 pC·kV."""
    found = derive_quantities(np.array([100.0, -80.0, 120.0, -60.0]), 0.020, np.array([12.0, -11.0, 12.5, -10.0]))
    assert found.repetition_rate_per_s == pytest.approx(200.0)
    assert found.average_discharge_current_a == pytest.approx(18.0e-9, rel=1e-9, abs=0)
    assert found.quadratic_rate_c2_per_s == pytest.approx(1.72e-18, rel=1e-9, abs=0)
    assert found.discharge_power_w == pytest.approx(0.209e-3, rel=1e-9)


def test_without_voltage_there_is_no_power():
    assert derive_quantities(np.array([1.0]), 1.0).discharge_power_w is None
    with pytest.raises(ValueError, match="above 0 s"):
        derive_quantities(np.array([1.0]), 0.0)
