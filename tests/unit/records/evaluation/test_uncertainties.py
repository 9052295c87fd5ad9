"""Every value of every kind has an uncertainty; only counts have none, and their quantity says so."""

from __future__ import annotations

import numpy as np

from records.evaluation import synthesis
from records.evaluation.evaluating import evaluate
from records.evaluation.impulse.synthesis import Disturbance as Recorder
from records.evaluation.impulse.synthesis import synthesise_impulse, wave_with_crest
from records.evaluation.kinds import KINDS
from records.evaluation.quantities import QUANTITIES
from records.evaluation.setups import INSTRUMENT_QUANTITIES, parse_setup
from records.evaluation.slow_synthesis import (
    Disturbance,
    Winding,
    synthesise_absorption,
    synthesise_cooling,
    synthesise_table,
)
from records.evaluation.sweep.synthesis import SeriesBranch, synthesise_sweep
from records.evaluation.waveform import shape_of, trend_of
from records.readers.recording import Recording

SETUP = parse_setup(
    {
        "background_noise_pc": 2.0,
        "charge_calibration": {"injected_pc": 100, "reading": 98.0},
        "instruments": [
            {"name": name, "quantity": name, "relative_uncertainty_pct": 1.0} for name in INSTRUMENT_QUANTITIES
        ],
        "cold_resistance_ohm": 0.421,
        "cold_temperature_c": 22.5,
        "ambient_c": 25.0,
        "shutdown_s": 0.0,
        "temperature_c": 20.0,
        "test_voltage_kv": 5.0,
    }
)
HOLD = synthesis.Hold(20.0, 20.0)
STAGES = [{"name": "hold", "voltage_kv": 20.0, "hold_s": 10.0}]
DISCHARGE = {
    "kind": "partial_discharge",
    "threshold_pc": 10,
    "stages": STAGES,
    "criteria": [{"quantity": "apparent_charge_pc", "stage": "hold", "max": 100}],
}


def table(rows=6, **exact):
    return synthesise_table(exact, {name: Disturbance(noise=1e-3 * abs(v)) for name, v in exact.items()}, rows=rows)


def sweeps():
    branches = [SeriesBranch.tuned(282.5, 60, 6.37), SeriesBranch.tuned(408.0, 80, 4.0)]
    return [synthesise_sweep(branches, seed=seed, points=800, noise_db=0.05, noise_deg=0.3) for seed in (1, 2)]


def impulses():
    made = []
    for seed, crest in enumerate((62.5, 125.0)):
        recorder = Recorder(noise=0.003, bits=12)
        made.append(synthesise_impulse(wave_with_crest(crest), seed=seed, disturbance=recorder, current_a_per_kv=1.0))
    return made


def pulses():
    train = synthesis.PulseTrain(50.0, 100.0, 0.0, 30.0)
    return [synthesis.synthesise_pulses([HOLD], [train], seed=1)]


TAN = {"dissipation_factor": 1e-4, "capacitance_uf": 10.0, "voltage_kv": 5.0}
IMPULSE_STAGES = [
    {"name": "reduced", "voltage_kv": 62.5, "wave": "reduced"},
    {"name": "full", "voltage_kv": 125.0},
]
CASES = {
    "wave": ({"kind": "power_frequency_withstand", "stages": STAGES}, [synthesis.synthesise_wave([HOLD], seed=1)]),
    "pulses": (DISCHARGE, pulses()),
    "impulses": ({"kind": "lightning_impulse", "stages": IMPULSE_STAGES}, impulses()),
    "sweeps": (
        {
            "kind": "frequency_response",
            "frequency_hz": 60,
            "criteria": [
                {"quantity": "parallel_resonance_hz", "min": 100, "max": 1000},
                {"quantity": "tuned_order", "nominal": 4.7, "tolerance_pct": 5},
            ],
        },
        sweeps(),
    ),
    "winding resistance": (
        {"kind": "winding_resistance", "material": "copper", "reference_temperature_c": 75},
        [table(resistance_ohm=value, temperature_c=22.5) for value in (0.420, 0.421, 0.425)],
    ),
    "insulation resistance": (
        {"kind": "insulation_resistance", "stages": [{"name": "direct", "voltage_kv": 5.0, "hold_s": 600}]},
        [synthesise_absorption(1500, 2.8, Disturbance(noise=0.01))],
    ),
    "dissipation factor": ({"kind": "dissipation_factor"}, [table(**TAN), table(**TAN)]),
    "capacitance": ({"kind": "capacitance"}, [table(capacitance_uf=10.0), table(capacitance_uf=10.1)]),
    "inductance": (
        {
            "kind": "inductance",
            "frequency_hz": 60,
            "rated_current_a": 100,
            "material": "copper",
            "reference_temperature_c": 75,
            "dc_resistance_ohm": 0.08,
            "dc_resistance_temperature_c": 20,
        },
        [table(inductance_mh=5.0, loss_w=250.0, current_a=50.0, temperature_c=20.0)],
    ),
    "temperature rise": (
        {"kind": "temperature_rise", "material": "copper", "hot_spot_factor": 1.1},
        [synthesise_cooling(Winding(), Disturbance(noise=2e-5))],
    ),
}


def findings():
    for name, (step, records) in CASES.items():
        for finding in evaluate(step, records, SETUP).findings:
            yield name, finding


def test_every_value_but_a_count_has_a_standard_and_an_expanded_uncertainty():
    bare = {
        (name, finding.quantity)
        for name, finding in findings()
        if finding.value is not None
        and not QUANTITIES[finding.quantity].is_count
        and not (finding.standard_uncertainty and finding.expanded_uncertainty)
    }
    assert bare == set()


def test_a_count_has_none():
    counts = [finding for _, finding in findings() if QUANTITIES[finding.quantity].is_count]
    assert {finding.quantity for finding in counts} == {"disruptive_discharges", "impulses"}
    assert all(finding.standard_uncertainty is finding.expanded_uncertainty is None for finding in counts)


def test_what_was_looked_at_is_nearly_everything_that_can_be_found():
    """So that the test above is not empty: what is missing needs a record that none of the cases is."""
    seen = {finding.quantity for _, finding in findings() if finding.value is not None}
    missing = {quantity for kind in KINDS.values() for quantity in kind.quantities} - seen
    assert missing <= {
        "noise_after_pc",
        "time_to_chopping_us",
        "inception_voltage_kv",
        "extinction_voltage_kv",
        "dissipation_factor_tip_up",
    }


def test_the_shape_of_a_wave_scatters_as_stated():
    """A noise of 1 % on 50 Hz: what many draws of it give scatters by the stated uncertainties, 20 % either way."""
    names = ("frequency_hz", "crest_factor", "polarity_difference_pct", "total_harmonic_distortion_pct")
    found, stated = [], []
    for seed in range(100):
        record: Recording = synthesis.synthesise_wave([synthesis.Hold(20.0, 2.0, 2.0)], seed=seed, noise_kv=0.28)
        volts = record.channels["voltage_kv"]
        shape = shape_of(record.time_s, volts, trend_of(record.time_s, volts), 11.5, 12.5)
        found.append([getattr(shape, name) for name in names])
        stated.append([shape.uncertainties[name] for name in names])
    true = np.array([50.0, np.sqrt(2), 0.0, 0.0])
    spread = np.sqrt(np.mean((np.array(found) - true) ** 2, axis=0)) / np.mean(stated, axis=0)
    assert (spread < 1.3).all(), dict(zip(names, spread, strict=True))
    assert (spread[[1, 3]] > 0.6).all(), dict(zip(names, spread, strict=True))
