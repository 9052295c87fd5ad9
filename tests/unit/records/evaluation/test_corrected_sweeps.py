"""Corrections in ohms and in decibels on sweeps: each number by hand, branches known by construction."""

from __future__ import annotations

import math

import numpy as np
import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.setups import parse_setup
from records.evaluation.sweep.synthesis import SeriesBranch
from records.readers.recording import Recording

BRANCH = SeriesBranch.tuned(282.5, 30, 6.37)  # 0.377 Ω at resonance; up to 200 Ω in the sweep
FREQUENCY = np.geomspace(50, 5000, 800)
IMPEDANCE = BRANCH.impedance(FREQUENCY)
PROPER = ("inductance_mh", "capacitance_uf", "resistance_ohm", "quality_factor")


def instruments(*points, use="applied", unit="Ω", **said):
    rows = [dict(zip(("reading", "correction", "expanded_uncertainty"), point, strict=True)) for point in points]
    corrections = {"use": use, "unit": unit, "points": rows, "certificate": "Z-1"}
    row = {"name": "bridge", "quantity": "impedance", "relative_uncertainty_pct": 1, "corrections": [corrections]}
    return parse_setup({"instruments": [{**row, **said}]})


def ways(impedance):
    """Return one impedance in the two forms that a record may have."""
    return [
        {"impedance_ohm": np.abs(impedance), "phase_deg": np.degrees(np.angle(impedance))},
        {"impedance_real_ohm": impedance.real.copy(), "impedance_imag_ohm": impedance.imag.copy()},
    ]


def found(channels, setup, **step):
    record = Recording(np.empty(0), {"frequency_hz": FREQUENCY, **channels})
    evaluation = evaluate({"kind": "frequency_response", **step}, [record], setup)
    return {row.quantity: row for row in evaluation.findings}, evaluation


@pytest.mark.parametrize("form", [0, 1])
def test_the_magnitude_is_corrected_and_the_phase_kept(form):
    """The bridge reads Z/1.02, so + 2 % at each reading gives Z again; k = 2 and U = 0.2 % of the reading."""
    points = [(ohm, 0.02 * ohm, 0.002 * ohm) for ohm in (0.1, 300.0)]
    rows, _ = found(ways(IMPEDANCE / 1.02)[form], instruments(*points))
    assert rows["inductance_mh"].value == pytest.approx(6.37, rel=1e-6)
    assert rows["resistance_ohm"].value == pytest.approx(BRANCH.resistance_ohm, rel=1e-6)
    assert rows["resonance_hz"].value == pytest.approx(282.5, rel=1e-9)
    assert "Readings of the impedance were corrected by +0.0" in rows["inductance_mh"].correction
    assert not rows["resonance_hz"].correction


def test_the_curves_uncertainty_takes_the_place_of_what_is_stated_as_a_whole():
    """One point at each end with U = 0.2 % of the greater reading there, held in between: never the stated 1 %."""
    points = [(ohm, 0.0, 0.002 * ohm) for ohm in np.geomspace(0.1, 300, 400).tolist()]
    rows, _ = found(ways(IMPEDANCE)[0], instruments(*points))
    plain, _ = found(ways(IMPEDANCE)[0], parse_setup({"instruments": [{"name": "b", "relative_uncertainty_pct": 1}]}))
    assert plain["inductance_mh"].expanded_uncertainty == pytest.approx(0.01 * 6.37, rel=1e-3)
    assert rows["inductance_mh"].expanded_uncertainty == pytest.approx(0.002 * 6.37, rel=0.03)  # greater neighbour's U


def test_a_correction_that_is_not_applied_widens():
    """c = 2 % everywhere and u = 0.5 %: √(0.5² + 2²) = 2.06 % at k = 1, 4.12 % at k = 2; the value as read."""
    points = [(ohm, 0.02 * ohm, 0.002 * ohm) for ohm in (0.1, 300.0)]
    rows, _ = found(ways(IMPEDANCE)[0], instruments(*points, use="not_applied"))
    assert rows["inductance_mh"].value == pytest.approx(6.37, rel=1e-6)
    assert rows["inductance_mh"].expanded_uncertainty == pytest.approx(2 * math.hypot(0.005, 0.02) * 6.37, rel=1e-3)


def test_samples_outside_the_calibrated_range_are_left_out_and_the_reason_says_so():
    """Calibrated from 2 Ω on: the bridge reads Z/1.05 there, and 3 % too much below, where nobody knows it."""
    read = IMPEDANCE / np.where(np.abs(IMPEDANCE) > 2.2, 1.05, 0.97)
    rows, _ = found(ways(read)[1], instruments((2.0, 0.1, 0.01), (300.0, 15.0, 1.0)))
    assert rows["inductance_mh"].value == pytest.approx(6.37, rel=1e-4)
    assert rows["capacitance_uf"].value == pytest.approx(BRANCH.capacitance_uf, rel=1e-4)
    assert "Samples outside the calibrated range of bridge, 2 to 300 Ω, are left out" in rows["inductance_mh"].reason
    assert "left out" not in rows["resonance_hz"].reason


def test_where_nothing_is_calibrated_nothing_is_told_of_it():
    setup = instruments((1000.0, 1.0, 0.1), (2000.0, 2.0, 0.1))
    criterion = {"quantity": "inductance_mh", "nominal": 6.37, "tolerance_pct": 3}
    rows, evaluation = found(ways(IMPEDANCE)[0], setup, criteria=[criterion])
    assert evaluation.verdict == "inconclusive"
    assert "leave it unknown" in rows["inductance_mh"].reason
    assert "outside the calibrated range of bridge, 1000 to 2000 Ω" in rows["inductance_mh"].reason
    assert rows["resonance_hz"].value == pytest.approx(282.5, rel=1e-6)


def test_a_transfer_is_corrected_in_decibels():
    """The analyser reads 0.3 dB too little at every level."""
    level = 20 * np.log10(np.abs(2 / (2 + IMPEDANCE)))
    points = [(-50.0, 0.3, 0.05), (1.0, 0.3, 0.05)]
    rows, _ = found({"gain_db": level - 0.3}, instruments(*points, unit="dB"), termination_ohm=2)
    assert rows["inductance_mh"].value == pytest.approx(6.37, rel=1e-6)
    assert "Readings of the transfer were corrected by +0.3 dB (by certificate Z-1)" in rows["inductance_mh"].reason
    # 0.05 dB are 0.578 % of 2 Ω + Z at k = 2: of the coil, which is all of Z far above resonance, about as much
    assert 0.005 < rows["inductance_mh"].expanded_uncertainty / 6.37 < 0.01


def test_a_reflection_is_not_corrected_in_ohms():
    reflection = (IMPEDANCE - 50) / (IMPEDANCE + 50)
    channels = {"reflection_real": reflection.real.copy(), "reflection_imag": reflection.imag.copy()}
    setup = instruments((0.1, 0.002, 0.0002), (300.0, 6.0, 0.6))
    limit = {"quantity": "inductance_mh", "nominal": 6.37, "tolerance_pct": 3}
    rows, evaluation = found(channels, setup, criteria=[limit], reference_ohm=50)
    assert evaluation.verdict == "inconclusive"
    assert (
        "The corrections of bridge are in Ω, and the record does not hold the impedance" in rows["inductance_mh"].reason
    )
    assert rows["resonance_hz"].verdict == "conforms"
