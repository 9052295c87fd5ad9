"""Sweeps of two ports from a Touchstone file: the transfer S21, or the port that the step names."""

from __future__ import annotations

import numpy as np
import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.step import parse_step
from records.evaluation.sweep.responses import response_of
from records.evaluation.sweep.telling import trace_of
from records.readers.reading import read_record
from records.readers.refusals import NotANumber
from records.readers.wanted import WANTED_BY_KIND
from tests.unit.records.evaluation.sweep.test_examining import SETUP

WANTED = WANTED_BY_KIND["frequency_response"]
# 5 mH, 60 µF and 0.1 Ω in series between the ports of 50 Ω: S21 = 100/(100 + Z), S11 = Z/(100 + Z).
FREQUENCY = np.geomspace(50, 5000, 600)
IMPEDANCE = 0.1 + 2j * np.pi * FREQUENCY * 5e-3 + 1 / (2j * np.pi * FREQUENCY * 60e-6)
RESONANCE_HZ = 1 / (2 * np.pi * np.sqrt(5e-3 * 60e-6))


def written(room, transfer=None):
    transfer = 100 / (100 + IMPEDANCE) if transfer is None else transfer
    reflection = IMPEDANCE / (100 + IMPEDANCE)
    lines = ["# Hz S RI R 50"]
    for f, s11, s21 in zip(FREQUENCY, reflection, transfer, strict=True):
        lines.append(" ".join(f"{x:.15g}" for x in (f, *(p for s in (s11, s21, s21, s11) for p in (s.real, s.imag)))))
    (room / "sweep.s2p").write_text("\n".join(lines) + "\n")
    return read_record(room / "sweep.s2p", wanted=WANTED)


def found(step, recording):
    return evaluate({"kind": "frequency_response", **step}, [recording], SETUP)


def test_the_transfer_of_two_ports_is_that_of_s21(tmp_path):
    recording = written(tmp_path)
    np.testing.assert_allclose(recording.channels["gain_db"], 20 * np.log10(np.abs(100 / (100 + IMPEDANCE))), atol=1e-9)
    # through the object into 100 Ω (both terminations), so Z = 100 (1/S21 - 1)
    finding = found({"termination_ohm": 100}, recording).findings[0]
    assert (finding.quantity, finding.value) == ("resonance_hz", pytest.approx(RESONANCE_HZ, rel=1e-6))


def test_the_step_names_another_port(tmp_path):
    """S11 is the reflection of Z and the 50 Ω behind it."""
    step = {"kind": "frequency_response", "port": "s11", "criteria": [{"quantity": "resonance_hz", "min": 1}]}
    recording = written(tmp_path)
    response = response_of(recording, parse_step(step))
    np.testing.assert_allclose(1 / response.admittance_s, IMPEDANCE + 50, rtol=1e-9)
    told = evaluate(step, [recording], SETUP).details["sweeps"][0]
    drawn = trace_of(recording.channels, told)
    np.testing.assert_allclose(drawn.magnitude, np.abs(IMPEDANCE + 50), rtol=1e-9)


def test_a_transfer_of_two_ports_goes_into_both_of_them(tmp_path):
    """Z = 2 Z0 (1/S21 - 1), Z0 as the file states it; a termination that the step states counts before it."""
    recording = written(tmp_path)
    rows = {row.quantity: row for row in found({}, recording).findings}
    assert rows["resonance_hz"].value == pytest.approx(RESONANCE_HZ, rel=1e-6)
    assert rows["inductance_mh"].value == pytest.approx(5.0, rel=1e-6)
    assert rows["capacitance_uf"].value == pytest.approx(60.0, rel=1e-6)
    assert rows["resistance_ohm"].value == pytest.approx(0.1, rel=1e-4)
    halved = {row.quantity: row for row in found({"termination_ohm": 50}, recording).findings}
    assert halved["inductance_mh"].value == pytest.approx(2.5, rel=1e-6)


def test_a_port_that_the_record_does_not_hold_is_no_valid_test(tmp_path):
    single = read_record(_one_port(tmp_path), wanted=WANTED)
    evaluation = found({"port": "s21", "criteria": [{"quantity": "resonance_hz", "min": 1}]}, single)
    assert evaluation.verdict == "not_valid"
    assert "the port S21, which the record does not hold" in evaluation.findings[0].reason


def _one_port(room):
    lines = ["# Hz S RI R 50", *(f"{f:.9g} {0.5 + 1e-5 * f:.9g} 0.1" for f in FREQUENCY)]
    (room / "sweep.s1p").write_text("\n".join(lines) + "\n")
    return room / "sweep.s1p"


def test_a_transfer_of_nothing_is_named_with_its_row(tmp_path):
    transfer = 100 / (100 + IMPEDANCE)
    transfer[3] = 0
    with pytest.raises(NotANumber, match="Row 5: a transfer S21 of 0"):
        written(tmp_path, transfer)
