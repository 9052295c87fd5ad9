"""An instrument that stood at the end of its range shows less than there was: such a record passes nobody."""

from __future__ import annotations

import math

import numpy as np
import pytest

from records.evaluation.clipping import range_end
from records.evaluation.evaluating import evaluate
from records.readers.plausibility import cut_crests
from records.readers.recording import Recording

DISCHARGE = {
    "kind": "partial_discharge",
    "stages": [
        {"name": "prestress", "voltage_kv": 30, "hold_s": 60, "tolerance_pct": 3},
        {"name": "measurement", "voltage_kv": 18, "hold_s": 120, "tolerance_pct": 3},
    ],
    "threshold_pc": 10,
    "criteria": [{"quantity": "apparent_charge_pc", "stage": "measurement", "max": 100}],
}
WITHSTAND = {
    "kind": "power_frequency_withstand",
    "stages": [{"name": "withstand", "voltage_kv": 30, "hold_s": 60, "tolerance_pct": 3}],
}
CORNERS_S, CORNERS_KV = (0, 10, 40, 102, 114, 236, 250), (0, 0, 30, 30, 18, 18, 0)
MEASURING_S = 114.0
TIMES_S = np.arange(0, 250, 0.5)


def detector_record(range_pc, burning_until_s):
    """Noise below 2 pC; from 25 kV on, and until one moment, discharges of 150 to 350 pC, cut off at a range."""
    chance = np.random.default_rng(5)
    voltage = np.interp(TIMES_S, CORNERS_S, CORNERS_KV)
    is_burning = (TIMES_S > 35) & (burning_until_s > TIMES_S)
    charge = np.where(is_burning, chance.uniform(150, 350, len(TIMES_S)), chance.uniform(0, 2, len(TIMES_S)))
    return Recording(TIMES_S, {"voltage_kv": voltage, "charge_pc": np.minimum(charge, range_pc)})


def by_name(evaluation):
    return {finding.quantity: finding for finding in evaluation.findings}


def test_a_detector_whose_range_ends_below_the_limit_passes_nobody():
    evaluation = evaluate(DISCHARGE, [detector_record(80, 250)])
    charge = by_name(evaluation)["apparent_charge_pc"]
    assert (evaluation.verdict, charge.verdict, charge.value) == ("not_valid", "not_valid", None)
    assert "stand at 80 pC, the greatest of the record" in charge.reason
    assert "Measure again in a higher range." in charge.reason


def test_a_range_that_ends_above_the_limit_shows_that_the_limit_was_passed():
    evaluation = evaluate(DISCHARGE, [detector_record(120, 250)])
    assert evaluation.verdict == "does_not_conform"
    assert by_name(evaluation)["apparent_charge_pc"].value == 120


def test_what_was_cut_off_before_the_window_leaves_the_charge_as_it_was_read():
    evaluation = evaluate(DISCHARGE, [detector_record(80, MEASURING_S + 30)])
    found = by_name(evaluation)
    assert evaluation.verdict == "conforms"
    assert found["apparent_charge_pc"].value < 2
    assert found["time_to_extinction_s"].value is None  # discharges above 80 pC may have been above 100 pC
    assert "the detector's range ended there" in found["time_to_extinction_s"].reason


def test_what_is_not_cut_off_is_read_as_before():
    evaluation = evaluate(DISCHARGE, [detector_record(math.inf, MEASURING_S + 30)])
    found = by_name(evaluation)
    assert evaluation.verdict == "conforms"
    assert found["time_to_extinction_s"].value == pytest.approx(30, abs=1.0)


@pytest.mark.parametrize(
    ("values", "end"),
    [
        (np.concatenate([np.linspace(0.1, 4.9, 49), np.full(12, 80.0)]), 80.0),
        (np.concatenate([np.linspace(0.1, 4.9, 49), np.full(9, 80.0)]), None),  # too few at the top
        (np.full(100, 2.0), None),
        (np.where(np.arange(100) % 2, 80.0, 2.0), None),  # written too coarsely to tell
        (np.concatenate([np.arange(60.0), np.repeat([60.0, 61.0], [10, 40])]), None),  # falls away beside its top
        (np.empty(0), None),
    ],
)
def test_where_readings_pile_up(values, end):
    assert range_end(values) == end


def wave_record(share, frequency_hz=50.0):
    """A wave raised within 8 s to 30 kV and held for a minute, cut off at a share of its crest."""
    times = np.arange(0, 70, 1e-4)
    crest = 30 * math.sqrt(2)
    voltage = np.interp(times, (0, 2, 8), (0, 0, crest)) * np.sin(2 * math.pi * frequency_hz * times)
    voltage += np.random.default_rng(3).normal(0, 0.02, len(times))
    return Recording(times, {"voltage_kv": np.clip(voltage, -share * crest, share * crest).round(3)})


def test_a_wave_with_cut_crests_passes_nobody():
    assert evaluate(WITHSTAND, [wave_record(2.0)]).verdict == "conforms"
    evaluation = evaluate(WITHSTAND, [wave_record(0.985)])  # within the tolerance of 3 %, and of the crest factor
    assert evaluation.verdict == "not_valid"
    assert "crests stand still at -41.79 kV: the wave is cut off" in evaluation.findings[0].reason


def test_one_crest_that_leaves_the_range_is_no_cut_wave():
    times = np.arange(0, 1, 1e-4)
    wave = np.sin(2 * math.pi * 50 * times)
    wave[5040:5060] = 3.0  # a transient that drove the recorder to its end
    cut = cut_crests(wave)
    assert (cut.at, cut.count, cut.first) == (3.0, 1, 5040)
    assert cut_crests(np.sin(2 * math.pi * 50 * times).round(1)) is None  # coarse, not cut
