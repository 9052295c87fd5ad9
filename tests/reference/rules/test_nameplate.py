"""Arithmetic of the nameplate against published figures and closed forms; sources in SOURCE.md."""

from __future__ import annotations

import math

import pytest

from schedules.rules import nameplate


def test_filter_of_480_v_and_50_kvar_tuned_to_the_fifth():
    """Published harmonic-filter page: Xc 4.608 Ω, XL 0.184 Ω, C 575.7 µF, L 0.49 mH; further digits by arithmetic."""
    branch = nameplate.tuned_branch(0.48, 0.05, 5.0, 60.0)
    assert branch.capacitive_reactance_ohm == pytest.approx(480**2 / 50e3) == pytest.approx(4.608)
    assert branch.inductive_reactance_ohm == pytest.approx(0.1843, abs=5e-5)
    assert branch.inductance_mh == pytest.approx(0.4889, abs=5e-5)
    assert branch.capacitance_uf == pytest.approx(575.65, abs=5e-3)
    assert nameplate.tuned_order(branch.inductance_mh, branch.capacitance_uf, 60.0) * 60 == pytest.approx(300)


def test_what_the_branch_delivers_is_more_than_its_capacitors_rating():
    """Closed form: 50 kvar · 25/24 = 52.083 kvar."""
    assert nameplate.tuned_branch(0.48, 0.05, 5.0, 60.0).effective_mvar * 1e3 == pytest.approx(50 * 25 / 24)
    assert nameplate.effective_mvar(0.05, 5.0) * 1e3 == pytest.approx(50 * 25 / 24)


def test_detuned_bank_of_8_percent_at_400_v():
    """Published study of detuned reactors: capacitor voltage 434.783 V; h = 1/√0.08 = 3.5355, 176.8 Hz at 50 Hz."""
    order = nameplate.order_from_detuning(8)
    assert order == pytest.approx(3.5355, abs=5e-5)
    assert order * 50 == pytest.approx(176.8, abs=0.05)
    assert 400 * nameplate.voltage_rise(order) == pytest.approx(434.783, abs=5e-4)


@pytest.mark.parametrize(
    ("detuning_pct", "order"), [(5.67, 4.1996), (6, 4.0825), (7, 3.7796), (8, 3.5355), (14, 2.6726)]
)
def test_usual_detunings(detuning_pct, order):
    """Usual values of the trade; the orders are 1/√p."""
    assert nameplate.order_from_detuning(detuning_pct) == pytest.approx(order, abs=5e-5)


def test_textbook_case_on_480_v():
    """From memory of a textbook (rounded there to 643.9 A, 501.8 V, 535 kvar); the digits here are arithmetic."""
    branch = nameplate.tuned_branch(0.6, 0.8, 4.7, 60.0, network_kv=0.48)
    assert branch.capacitive_reactance_ohm == pytest.approx(0.45)
    assert branch.inductive_reactance_ohm == pytest.approx(0.02037, abs=5e-6)
    assert branch.inductance_mh == pytest.approx(0.05404, abs=5e-6)
    assert branch.rated_current_a == pytest.approx(645.0, abs=0.05)
    assert branch.capacitor_kv * 1e3 == pytest.approx(502.8, abs=0.05)
    assert branch.effective_mvar * 1e3 == pytest.approx(536, abs=0.5)


@pytest.mark.parametrize("order", [2.7, 3.5355, 4.7, 6.7, 10.6])
def test_closed_forms_of_a_branch(order):
    """Algebra: VL/V = 1/(h² − 1), QL = Qc·h²/(h² − 1)², VC/V = h²/(h² − 1); and VC = 1/(ωC)·I per phase."""
    branch = nameplate.tuned_branch(13.8, 6.0, order, 60.0)
    assert branch.reactor_kv / 13.8 == pytest.approx(1 / (order**2 - 1))
    assert branch.reactor_mvar == pytest.approx(6.0 * order**2 / (order**2 - 1) ** 2)
    assert branch.capacitor_kv == pytest.approx(
        math.sqrt(3) * branch.rated_current_a * branch.capacitive_reactance_ohm / 1e3
    )


def test_a_reactor_tuned_higher_drops_less_and_is_smaller():
    """Observation of the trade, no source; it follows from the closed forms."""
    branches = [nameplate.tuned_branch(13.8, 6.0, order, 60.0) for order in (2.7, 3.8, 4.7, 6.7, 10.6)]
    for quantity in ("reactor_kv", "reactor_mvar", "inductance_mh", "inductive_reactance_ohm"):
        values = [getattr(branch, quantity) for branch in branches]
        assert values == sorted(values, reverse=True)
        assert len(set(values)) == len(values)


@pytest.mark.parametrize(
    ("capacitance_pct", "inductance_pct", "order"),
    [(0, 0, 4.7), (10, 0, 4.7 / math.sqrt(1.1)), (0, -2, 4.7 / math.sqrt(0.98)), (21, 44, 4.7 / (1.1 * 1.2))],
)
def test_drift_of_tuning(capacitance_pct, inductance_pct, order):
    """Closed form h/√((1 + ΔC)(1 + ΔL))."""
    assert nameplate.drifted_order(4.7, capacitance_pct, inductance_pct) == pytest.approx(order)


def test_range_of_tuning_by_tolerances():
    """Closed form: the corners (1.1 · 1.02) and (1.0 · 0.98)."""
    low, high = nameplate.order_range(4.7, (0, 10), (-2, 2))
    assert (low, high) == (pytest.approx(4.7 / math.sqrt(1.122)), pytest.approx(4.7 / math.sqrt(0.98)))


def test_discharge_resistance_brings_the_crest_down_in_time():
    """Closed form: after t the voltage left is U·exp(−t/(R·C))."""
    crest_v = math.sqrt(2) * 7200
    most = nameplate.discharge_resistance_most_ohm(10.0, crest_v / 1e3, 50.0, 300.0)
    assert crest_v * math.exp(-300 / (most * 10e-6)) == pytest.approx(50.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: nameplate.capacitive_reactance_ohm(0, 1), "voltage_kv is 0; give a number above zero"),
        (lambda: nameplate.capacitive_reactance_ohm(1, math.nan), "mvar is nan; give a number above zero"),
        (lambda: nameplate.voltage_rise(1.0), "the tuned order is 1; give one above 1"),
        (lambda: nameplate.tuned_branch(0.48, 0.05, 0.5, 60.0), "the tuned order is 0.5; give one above 1"),
        (lambda: nameplate.tuned_branch(0.48, 0.05, 5, 60.0, network_kv=-1), "network_kv is -1; "),
        (lambda: nameplate.order_from_detuning(100), "the detuning is 100 %; give one above 0 and below 100 %"),
        (lambda: nameplate.drifted_order(4.7, -100, 0), "remaining_capacitance is 0; "),
        (lambda: nameplate.inductance_mh(math.inf, 60), "reactance_ohm is inf; "),
        (lambda: nameplate.capacitance_uf(4.6, 0), "frequency_hz is 0; "),
        (lambda: nameplate.rated_current_a(-1, 1), "mvar is -1; "),
        (lambda: nameplate.discharge_resistance_most_ohm(10, 0.05, 50, 60), "the residual voltage 50 V is not below "),
    ],
)
def test_impossible_values_are_explained(call, words):
    with pytest.raises(ValueError, match="^" + words.replace("(", r"\(")):
        call()
