"""Slow tests against examples worked by hand; SOURCE.md says what each rests on."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from equipment.metrology.budget import read_budget
from equipment.metrology.monte_carlo import propagate
from records.evaluation.absorption import correction_by_halving, resistance_after, without_leakage
from records.evaluation.conductors import CONDUCTORS, resistance_at, rise_by_resistance
from records.evaluation.elements import share_of_blown_fuse, share_of_short_circuit
from records.evaluation.evaluating import evaluate
from records.evaluation.inductance import loss_at_reference
from records.evaluation.setups import parse_setup
from records.evaluation.slow_synthesis import Winding, synthesise_absorption, synthesise_cooling
from records.readers.recording import Recording

EXACT = parse_setup({"instruments": [{"name": "exact", "relative_uncertainty_pct": 0.0}]})


def found(step, recordings, setup=EXACT):
    result = evaluate(step, recordings, setup)
    return result, {finding.quantity: finding for finding in result.findings}


def table(**channels):
    return Recording(np.empty(0), {name: np.array(values, dtype=float) for name, values in channels.items()})


@pytest.mark.parametrize(
    ("material", "to_c", "by_hand"),
    [
        ("copper", 75.0, 0.50683),  # 0.4210 * 310 / 257.5
        ("copper_ieee", 75.0, 0.50700),  # 0.4210 * 309.5 / 257
        ("aluminium", 75.0, 0.51030),  # 0.4210 * 300 / 247.5
        ("copper_ieee", 85.0, 0.52338),  # 0.4210 * 319.5 / 257
        ("aluminium", 170.0, 0.67190),  # 0.4210 * 395 / 247.5
    ],
)
def test_resistance_at_the_reference_temperature(material, to_c, by_hand):
    constant = CONDUCTORS[material].temperature_constant_c
    assert resistance_at(0.4210, 22.5, to_c, constant) == pytest.approx(by_hand, abs=5e-6)
    step = {"kind": "winding_resistance", "material": material, "reference_temperature_c": to_c}
    _, findings = found(step, [table(resistance_ohm=[0.4210] * 3, temperature_c=[22.5] * 3)])
    assert findings["resistance_at_reference_ohm"].value == pytest.approx(by_hand, abs=5e-6)


def test_uncertainty_of_a_corrected_resistance_worked_by_hand():
    # U = 0.2 % (k = 2) of 0.4210 Ω gives u = 0.000421 Ω; U = 0.5 K gives u = 0.25 K; readings add s/√3, and no step,
    # since they scatter by a whole one;
    # R (235 + 75)/(235 + θ) has the relative sensitivities 1/R and 1/(235 + 22.5).
    setup = parse_setup(
        {
            "instruments": [
                {"name": "micro-ohmmeter", "quantity": "resistance", "relative_uncertainty_pct": 0.2},
                {"name": "thermometer", "quantity": "temperature", "expanded_uncertainty": 0.5},
            ]
        }
    )
    step = {"kind": "winding_resistance", "material": "copper", "reference_temperature_c": 75}
    readings = table(resistance_ohm=[0.4209, 0.4210, 0.4211], temperature_c=[22.4, 22.5, 22.6])
    _, findings = found(step, [readings], setup)
    u_r = math.sqrt(0.000421**2 + (0.0001 / math.sqrt(3)) ** 2)
    u_t = math.sqrt(0.25**2 + (0.1 / math.sqrt(3)) ** 2)
    relative = math.hypot(u_r / 0.4210, u_t / 257.5)
    value = 0.4210 * 310 / 257.5
    finding = findings["resistance_at_reference_ohm"]
    assert finding.value == pytest.approx(value, rel=1e-12)
    assert finding.expanded_uncertainty / finding.coverage_factor == pytest.approx(value * relative, rel=1e-9)
    assert finding.coverage_factor == pytest.approx(2.0, abs=0.005)


def test_few_readings_widen_the_coverage_factor():
    # Two readings 0.01 Ω apart, nothing else uncertain: s = 0.01/√2, s/√2 = 0.005, ν = 1.
    _, findings = found({"kind": "winding_resistance"}, [table(resistance_ohm=[1.00, 1.01])])
    finding = findings["resistance_ohm"]
    assert finding.expanded_uncertainty / finding.coverage_factor == pytest.approx(0.005)
    assert finding.coverage_factor == pytest.approx(13.97, abs=0.01)  # t of 95.45 % for ν = 1: GUM table G.2


def test_the_probability_of_conformity_knows_how_few_readings_there_were():
    # s/√2 = 0.005 Ω with ν = 1 and nothing else: F(t) = 1/2 + arctan(t)/π, at t = (0.115 − 0.105)/0.005 = 2: 0.8524
    step = {"kind": "winding_resistance", "criteria": [{"quantity": "resistance_ohm", "max": 0.115}]}
    _, findings = found(step, [table(resistance_ohm=[0.100, 0.110])])
    assert findings["resistance_ohm"].verdict == "conforms"
    assert findings["resistance_ohm"].probability_of_conformity == pytest.approx(0.5 + math.atan(2) / math.pi, abs=1e-4)


def test_unbalance_of_three_phases():
    phases = [table(resistance_ohm=[r] * 3) for r in (0.100, 0.101, 0.102)]
    _, findings = found({"kind": "winding_resistance"}, phases)
    assert findings["resistance_unbalance_pct"].value == pytest.approx(100 * 0.002 / 0.101)
    step = {"kind": "winding_resistance", "criteria": [{"quantity": "resistance_unbalance_pct", "max": 1.5}]}
    result, findings = found(step, phases)
    assert result.verdict == "does_not_conform"
    assert "0.1, 0.101, 0.102 Ω" in findings["resistance_unbalance_pct"].reason


def test_a_criterion_over_phases_judges_the_worst():
    phases = [table(resistance_ohm=[r] * 3) for r in (0.100, 0.101, 0.110)]
    step = {"kind": "winding_resistance", "criteria": [{"quantity": "resistance_ohm", "min": 0.095, "max": 0.105}]}
    result, findings = found(step, phases)
    assert (result.verdict, findings["resistance_ohm"].value) == ("does_not_conform", pytest.approx(0.110))
    assert findings["resistance_ohm"].reason.startswith("Record 3 of 3: the mean of 3 readings is 0.11 Ω.")
    named = [replace(one, name=f"“{place}.csv”") for place, one in enumerate(phases)]
    assert found(step, named)[1]["resistance_ohm"].reason.startswith("“2.csv”: the mean of 3 readings is 0.11 Ω.")


def test_insulation_by_halving():
    assert correction_by_halving(25, 40) == pytest.approx(0.353553, abs=5e-7)
    assert correction_by_halving(60, 40) == 4.0
    assert 2500 * correction_by_halving(25, 40) == pytest.approx(883.9, abs=0.05)
    t = np.array([15.0, 30.0, 60.0, 120.0])
    recording = Recording(t, {"insulation_resistance_mohm": np.array([2000.0, 2300.0, 2500.0, 2700.0])})
    step = {"kind": "insulation_resistance", "reference_temperature_c": 40, "temperature_c": 25}
    _, findings = found(step, [recording])
    assert findings["insulation_resistance_mohm"].value == pytest.approx(883.9, abs=0.05)
    assert "every 10 K more halve it (common practice" in findings["insulation_resistance_mohm"].reason


def test_polarization_index_worked_by_hand():
    t = np.array([30.0, 60.0, 120.0, 300.0, 600.0])
    recording = Recording(t, {"insulation_resistance_mohm": np.array([1200.0, 1500.0, 2000.0, 3200.0, 4200.0])})
    setup = parse_setup({"instruments": [{"name": "meter", "quantity": "resistance", "relative_uncertainty_pct": 5}]})
    _, findings = found({"kind": "insulation_resistance"}, [recording], setup)
    index = findings["polarization_index"]
    assert index.value == pytest.approx(2.80)
    # two independent readings of 2.5 % each: √2 · 2.5 % · 2.80, k = 2
    assert index.expanded_uncertainty == pytest.approx(2 * 2.80 * 0.025 * math.sqrt(2))
    assert findings["insulation_resistance_mohm"].value == pytest.approx(1500)
    assert findings["insulation_resistance_10min_mohm"].value == pytest.approx(4200)


def test_the_value_between_two_samples_is_interpolated_in_logarithms():
    # R = 100 t^0.5 MΩ: at 60 s 774.597; a straight interpolation between 15 s and 120 s would read 671
    t = np.array([15.0, 120.0, 600.0])
    assert resistance_after(t, 100 * np.sqrt(t), 60).resistance_mohm == pytest.approx(100 * math.sqrt(60))
    assert np.interp(60, t, 100 * np.sqrt(t)) < 750


def test_leakage_of_the_setup_is_taken_out():
    # 1/900 − 1/9000 = 9/9000 → 1000
    assert without_leakage(900, 9000) == pytest.approx(1000)
    recording = synthesise_absorption(900, 1.5, last_s=100)
    setup = parse_setup({"leakage_mohm": 9000})
    _, findings = found({"kind": "insulation_resistance"}, [recording], setup)
    assert findings["insulation_resistance_mohm"].value == pytest.approx(1000)


@pytest.mark.parametrize("n", [2, 3, 8, 20])
def test_one_element_short_in_series(n):
    whole, short = 1 / sum([1.0] * n), 1 / sum([1.0] * (n - 1))
    assert share_of_short_circuit(n) == pytest.approx(short / whole - 1)


@pytest.mark.parametrize(("n", "p"), [(1, 10), (3, 4), (8, 15)])
def test_one_element_lost_in_a_group(n, p):
    whole = 1 / sum([1 / p] * n)
    lost = 1 / (sum([1 / p] * (n - 1)) + 1 / (p - 1))
    assert share_of_blown_fuse(n, p) == pytest.approx(lost / whole - 1)


def test_an_element_lost_over_the_tests_is_found():
    before, after = table(capacitance_uf=[10.0, 10.001, 9.999]), table(capacitance_uf=[11.111, 11.112, 11.110])
    step = {"kind": "capacitance", "series_elements": 10}
    result, findings = found(step, [before, after])
    change = findings["capacitance_change_pct"]
    assert (result.verdict, change.maximum) == ("does_not_conform", pytest.approx(100 / 9 / 2))
    assert change.value == pytest.approx(11.11)
    assert "One element's share is 11.1 %" in change.reason
    result, findings = found(step, [before, table(capacitance_uf=[10.01, 10.011, 10.009])])
    assert (result.verdict, findings["capacitance_change_pct"].value) == ("conforms", pytest.approx(0.1))
    step = {"kind": "capacitance", "comparison": "rows", "series_elements": 10}
    result, _ = found(step, [table(capacitance_uf=[10.0, 11.11])])
    assert result.verdict == "does_not_conform"


def test_dissipation_factor_at_the_voltage_of_the_plan():
    # 8 W on 200 kvar: 4.0e-5
    assert pytest.approx(4.0e-5) == 8 / 200e3
    recording = table(
        voltage_kv=[2, 2, 7.2, 7.2, 10, 10],
        dissipation_factor=[3.0e-5, 3.2e-5, 3.9e-5, 4.1e-5, 5.0e-5, 5.2e-5],
        capacitance_uf=[10, 10, 10.002, 10.004, 10.01, 10.01],
    )
    step = {
        "kind": "dissipation_factor",
        "stages": [{"name": "rated", "voltage_kv": 7.2}],
        "criteria": [{"quantity": "dissipation_factor", "max": 4.5e-5}],
    }
    result, findings = found(step, [recording])
    assert result.verdict == "conforms"
    assert findings["dissipation_factor"].value == pytest.approx(4.0e-5)
    assert findings["capacitance_uf"].value == pytest.approx(10.003)
    assert findings["dissipation_factor_tip_up"].value == pytest.approx(2.0e-5)
    result, findings = found(step | {"stages": [{"name": "rated", "voltage_kv": 14.4}]}, [recording])
    assert result.verdict == "not_valid"
    assert "14.4 kV" in findings["dissipation_factor"].reason


def test_losses_at_the_reference_temperature():
    # I = 100 A, R = 0.08 Ω at 20 °C: I²R = 800 W at 20 °C, whole loss 1000 W at 20 °C, copper, to 75 °C:
    # 800 · 310/255 + 200 · 255/310 = 972.549 + 164.516 = 1137.065 W
    assert loss_at_reference(1000, 800, 20, 75, 235) == pytest.approx(1137.065, abs=5e-4)
    recording = table(
        frequency_hz=[60] * 3, inductance_mh=[5.0] * 3, loss_w=[250.0] * 3, current_a=[50.0] * 3, temperature_c=[20] * 3
    )
    step = {
        "kind": "inductance",
        "frequency_hz": 60,
        "rated_current_a": 100,
        "material": "copper",
        "reference_temperature_c": 75,
        "dc_resistance_ohm": 0.08,
        "dc_resistance_temperature_c": 20,
        "criteria": [{"quantity": "inductance_mh", "nominal": 5.0, "tolerance_pct": 3}],
    }
    result, findings = found(step, [recording])
    assert result.verdict == "conforms"
    assert findings["loss_w"].value == pytest.approx(1000)  # 250 W at half the current
    assert findings["loss_at_reference_w"].value == pytest.approx(1137.065, abs=5e-4)
    assert findings["resistance_ohm"].value == pytest.approx(0.1)
    assert findings["quality_factor"].value == pytest.approx(2 * math.pi * 60 * 5e-3 / 0.1)
    # three phases: loss of all, resistance of one; each third of the loss has the same Q
    threefold = table(**{name: list(values) for name, values in recording.channels.items()} | {"loss_w": [750.0] * 3})
    _, findings = found(step | {"phases": 3}, [threefold])
    assert findings["quality_factor"].value == pytest.approx(2 * math.pi * 60 * 5e-3 / 0.1)
    assert findings["loss_at_reference_w"].value == pytest.approx(3 * 1137.065, abs=2e-3)


@pytest.mark.parametrize(("material", "by_hand"), [("copper", 75.178), ("copper_ieee", 75.027), ("aluminium", 72.16)])
def test_rise_by_resistance_and_by_the_curve(material, by_hand):
    constant = CONDUCTORS[material].temperature_constant_c
    assert rise_by_resistance(0.5480, 0.4210, 22.5, 25.0, constant) == pytest.approx(by_hand, abs=6e-3)
    step = {
        "kind": "temperature_rise",
        "material": material,
        "cold_resistance_ohm": 0.4210,
        "cold_temperature_c": 22.5,
        "ambient_c": 25,
        "shutdown_s": 0,
        "hot_spot_factor": 1.2,
        "criteria": [{"quantity": "temperature_rise_k", "max": 80}],
    }
    result, findings = found(step, [synthesise_cooling(Winding(hot_ohm=0.5480))])
    assert result.verdict == "conforms"
    assert findings["temperature_rise_k"].value == pytest.approx(by_hand, abs=6e-3)
    assert findings["hot_spot_rise_k"].value == pytest.approx(1.2 * findings["temperature_rise_k"].value)
    assert findings["resistance_ohm"].value == pytest.approx(0.5480, abs=1e-9)


def test_uncertainty_of_a_rise_worked_by_hand():
    # exact curve; u(R2)/R2 = u(R1)/R1 = 0.05 %, u(θ1) = u(θa) = 0.2 K; copper 235, R2/R1 = 1.3016627
    # parts: 1.3016627·257.5·0.0005 = 0.1675890 K twice, 1.3016627·0.2 = 0.2603325 K, 0.2 K
    setup = parse_setup(
        {
            "instruments": [
                {"name": "bridge", "quantity": "resistance", "relative_uncertainty_pct": 0.1},
                {"name": "thermometer", "quantity": "temperature", "expanded_uncertainty": 0.4},
            ]
        }
    )
    step = {
        "kind": "temperature_rise",
        "material": "copper",
        "cold_resistance_ohm": 0.4210,
        "cold_temperature_c": 22.5,
        "ambient_c": 25,
        "shutdown_s": 0,
    }
    _, findings = found(step, [synthesise_cooling(Winding(hot_ohm=0.5480))], setup)
    by_hand = math.sqrt(2 * 0.1675890**2 + 0.2603325**2 + 0.2**2)
    finding = findings["temperature_rise_k"]
    # what the two models with falling surroundings differ by adds a little: less than 1 % of this uncertainty
    assert by_hand * 0.9999 < finding.expanded_uncertainty / 2 < by_hand * 1.01


def test_propagation_agrees_with_distributions_drawn():
    # the same rise as above by Monte Carlo (JCGM 101): 400 000 draws know u to 0.1 %; the model bends hardly at all
    inputs = [
        {"name": "h", "value": 0.5480, "standard_uncertainty": 0.5480 * 0.0005},
        {"name": "r", "value": 0.4210, "standard_uncertainty": 0.4210 * 0.0005},
        {"name": "c", "value": 22.5, "standard_uncertainty": 0.2},
        {"name": "a", "value": 25.0, "standard_uncertainty": 0.2},
    ]
    drawn = propagate(read_budget({"model": "h / r * (235 + c) - (235 + a)", "inputs": inputs}), trials=400_000)
    by_law = math.sqrt(2 * 0.1675890**2 + 0.2603325**2 + 0.2**2)
    assert drawn["model"].standard_uncertainty == pytest.approx(by_law, rel=0.005)
    assert drawn["model"].mean == pytest.approx(75.178, abs=0.003)
