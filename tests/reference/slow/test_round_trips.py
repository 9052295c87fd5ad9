"""Known parameters, disturbed and recovered: the true value lies in the stated interval as often as it should."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from equipment.metrology.propagation import coverage_factor
from records.evaluation.cooling import EXPONENTIAL, WITH_DRIFT, compare_models, fit_cooling
from records.evaluation.estimating import COVERAGE_PROBABILITY
from records.evaluation.evaluating import evaluate
from records.evaluation.knots import readings_behind
from records.evaluation.setups import parse_setup
from records.evaluation.slow_synthesis import (
    Disturbance,
    Winding,
    synthesise_absorption,
    synthesise_cooling,
    synthesise_table,
)
from records.evaluation.step import parse_step

DRAWS, FIRST_SEED = 1000, 0
# Welch and Satterthwaite's degrees of freedom are cautious where two small sets meet (five and five give 96.6 %, found
# with 8000 draws), so the tables of two sets have a dozen rows.
# 95.45 % intervals; four standard deviations of a share of 1000 draws are 2.6 %, so 93 to 97 % is what can be asked.
LEAST, MOST = 0.93, 0.97


def share_inside(step, make, truths, setup):
    """Return, by quantity, in how many of the draws the true value lies inside the expanded uncertainty."""
    known = parse_step(step)
    inside = dict.fromkeys(truths, 0)
    for seed in range(FIRST_SEED, FIRST_SEED + DRAWS):
        for finding in evaluate(known, make(seed), setup).findings:
            if finding.quantity in truths:
                inside[finding.quantity] += (
                    abs(finding.value - truths[finding.quantity]) <= finding.expanded_uncertainty
                )
    return {name: count / DRAWS for name, count in inside.items()}


def within(shares):
    return {name: share for name, share in shares.items() if not LEAST <= share <= MOST} == {}


COOLING = {
    "slow noise": (Winding(), Disturbance(noise=2e-5, step=1e-5, dropped=0.05), (20, 1800, 10)),
    "coarse steps": (Winding(), Disturbance(noise=5e-5, step=1e-4, dropped=0.1), (30, 1500, 10)),
    "few readings by hand": (Winding(time_constant_s=240), Disturbance(noise=5e-5, step=1e-5), (30, 900, 30)),
    "no drift": (Winding(drift_ohm_per_s=0.0), Disturbance(noise=5e-5, step=1e-5, dropped=0.2), (20, 1500, 10)),
    "resampled to a finer interval": (Winding(), Disturbance(noise=3e-5, step=1e-5, resampled=0.5), (20, 1800, 5)),
    "resampled to a coarser one": (Winding(), Disturbance(noise=3e-5, dropped=0.1, resampled=1.7), (20, 1800, 5)),
    "resampled to half of ten seconds": (Winding(), Disturbance(noise=3e-5, step=1e-5, resampled=0.5), (20, 1800, 10)),
    "resampled to 0.4 of them": (Winding(), Disturbance(noise=3e-5, dropped=0.1, resampled=0.4), (20, 1800, 10)),
    "slow winding": (Winding(time_constant_s=600), Disturbance(noise=4e-5, step=1e-5), (20, 3000, 15)),
}


@pytest.mark.parametrize("case", COOLING)
def test_the_resistance_at_shutdown_lies_in_its_interval(case):
    winding, how, (first, last, interval) = COOLING[case]
    inside = 0
    for seed in range(DRAWS):
        spoiled = replace(how, seed=FIRST_SEED + seed)
        record = synthesise_cooling(winding, spoiled, first_s=first, last_s=last, interval_s=interval)
        readings = readings_behind(record.time_s, record.channels["resistance_ohm"])  # as an evaluation does
        fit = fit_cooling(readings.time_s, readings.values, WITH_DRIFT)
        k = coverage_factor(COVERAGE_PROBABILITY, fit.degrees_of_freedom)
        inside += abs(fit.resistance_ohm - winding.hot_ohm) <= k * fit.standard_uncertainty_ohm
    assert LEAST <= inside / DRAWS <= MOST


def test_time_constant_and_drift_lie_in_theirs():
    winding, hits = Winding(), np.zeros(2)
    for seed in range(DRAWS):
        record = synthesise_cooling(winding, Disturbance(noise=3e-5, step=1e-5, dropped=0.05, seed=seed))
        fit = fit_cooling(record.time_s, record.channels["resistance_ohm"])
        k = coverage_factor(COVERAGE_PROBABILITY, fit.degrees_of_freedom)
        truth = np.array([winding.time_constant_s, -winding.drift_ohm_per_s * fit.last_s])
        hits += np.abs(fit.parameters[2:] - truth) <= k * np.sqrt(np.diag(fit.covariance)[2:])
    assert ((hits / DRAWS >= LEAST) & (hits / DRAWS <= MOST)).all()


# 5.6e-6 Ω/s are 12 K/h of surroundings that fall at first: 0.02 Ω/h by (235 + 22.5) K/0.4210 Ω.
@pytest.mark.parametrize(
    ("winding", "last_s"),
    [
        (Winding(time_constant_s=300, drift_ohm_per_s=5.6e-6), 1200.0),
        (Winding(time_constant_s=300, drift_ohm_per_s=5.6e-6), 1500.0),
        (Winding(time_constant_s=240, drift_ohm_per_s=5.6e-6), 1200.0),
    ],
)
def test_one_exponential_alone_reads_four_tenths_to_one_kelvin_low(winding, last_s):
    record = synthesise_cooling(winding, last_s=last_s)
    per_ohm = (235 + 22.5) / 0.4210  # copper, cold 0.4210 Ω at 22.5 °C
    cooling = compare_models(record.time_s, record.channels["resistance_ohm"])
    single = next(fit for fit in cooling.others if fit.model == EXPONENTIAL)
    assert -1.0 <= (single.resistance_ohm - winding.hot_ohm) * per_ohm <= -0.4
    assert abs(cooling.chosen.resistance_ohm - winding.hot_ohm) * per_ohm < 1e-6
    assert single.information > cooling.chosen.information + 100


def test_the_spread_of_models_covers_surroundings_that_fall_exponentially():
    # the truth is neither of the models: surroundings with a time constant of two hours
    after = np.arange(20.0, 1501.0, 5.0)
    exact = 0.42 + 0.11 * np.exp(-after / 300) + 0.04 * np.exp(-after / 7200)
    inside = 0
    for seed in range(DRAWS):
        values = Disturbance(noise=2e-5, step=1e-5, seed=seed).spoil(exact)
        cooling = compare_models(after, values)
        u = np.hypot(cooling.chosen.standard_uncertainty_ohm, cooling.spread_ohm / np.sqrt(3))
        inside += abs(cooling.chosen.resistance_ohm - 0.57) <= 2 * u
    assert inside / DRAWS >= LEAST


def test_a_temperature_rise_lies_in_its_interval():
    # hot resistance, cold resistance and temperatures each with an error of their instruments, drawn anew
    def make(seed):
        return [synthesise_cooling(Winding(), Disturbance(noise=1e-4, step=1e-5, dropped=0.05, seed=seed))]

    true_rise = 0.548 / 0.421 * (235 + 22.5) - (235 + 25)
    inside = 0
    for seed in range(DRAWS):
        chance = np.random.default_rng([seed, 3])
        setup = parse_setup(
            {
                "instruments": [
                    {"name": "bridge", "quantity": "resistance", "relative_uncertainty_pct": 0.04},
                    {"name": "thermometer", "quantity": "temperature", "expanded_uncertainty": 0.1},
                ],
                "ambient_c": 25 + 0.05 * chance.standard_normal(),
                "cold_temperature_c": 22.5 + 0.05 * chance.standard_normal(),
                "cold_resistance_ohm": 0.421 * (1 + 0.0002 * chance.standard_normal()),
                "shutdown_s": 0,
            }
        )
        record = make(seed)[0]
        hot = record.channels["resistance_ohm"] * (1 + 0.0002 * chance.standard_normal())
        step = {"kind": "temperature_rise", "material": "copper"}
        findings = evaluate(step, [type(record)(record.time_s, {"resistance_ohm": hot})], setup).findings
        rise = next(finding for finding in findings if finding.quantity == "temperature_rise_k")
        inside += abs(rise.value - true_rise) <= rise.expanded_uncertainty
    assert LEAST <= inside / DRAWS <= MOST


EXACT = parse_setup({"instruments": [{"name": "exact", "relative_uncertainty_pct": 0}]})


@pytest.mark.parametrize(
    ("index", "share", "noise", "step", "resampled", "interval_s"),
    [
        (2.8, 0.0, 0.01, 1.0, 0.0, 5.0),
        (1.5, 0.2, 0.02, 0.0, 0.0, 5.0),
        (4.0, 0.1, 0.005, 10.0, 0.0, 5.0),
        (2.8, 0.1, 0.01, 1.0, 0.4, 2.0),
        (2.8, 0.1, 0.01, 1.0, 0.4, 5.0),
    ],
)
def test_insulation_resistance_and_index_lie_in_their_intervals(index, share, noise, step, resampled, interval_s):
    def make(seed):
        how = Disturbance(noise=noise, step=step, dropped=0.1, seed=seed, resampled=resampled)
        return [synthesise_absorption(1500, index, how, conduction_share=share, interval_s=interval_s)]

    truths = {
        "insulation_resistance_mohm": 1500,
        "insulation_resistance_10min_mohm": 1500 * index,
        "polarization_index": index,
    }
    shares = share_inside({"kind": "insulation_resistance"}, make, truths, EXACT)
    assert within(shares), shares


def test_winding_resistance_lies_in_its_interval():
    # an instrument of U = 0.1 % and a thermometer of U = 0.4 K, each with its own error in each draw
    setup = parse_setup(
        {
            "instruments": [
                {"name": "bridge", "quantity": "resistance", "relative_uncertainty_pct": 0.1},
                {"name": "thermometer", "quantity": "temperature", "expanded_uncertainty": 0.4},
            ]
        }
    )

    def make(seed):
        chance = np.random.default_rng([seed, 4])
        exact = {
            "resistance_ohm": 0.4210 * (1 + 0.0005 * chance.standard_normal()),
            "temperature_c": 22.5 + 0.2 * chance.standard_normal(),
        }
        how = {
            "resistance_ohm": Disturbance(noise=4e-4, step=1e-4, seed=seed),
            "temperature_c": Disturbance(noise=0.1, step=0.1, seed=seed + DRAWS),
        }
        return [synthesise_table(exact, how, rows=6)]

    step = {"kind": "winding_resistance", "material": "copper", "reference_temperature_c": 75}
    truths = {"resistance_ohm": 0.4210, "resistance_at_reference_ohm": 0.4210 * 310 / 257.5}
    shares = share_inside(step, make, truths, setup)
    assert within(shares), shares


def test_the_unbalance_of_phases_lies_in_its_interval():
    def make(seed):
        scale = 1 + 0.01 * np.random.default_rng([seed, 5]).standard_normal()  # common to all phases: it cancels
        return [
            synthesise_table(
                {"resistance_ohm": value * scale},
                {"resistance_ohm": Disturbance(noise=1e-4, seed=seed + place * DRAWS)},
                rows=12,
            )
            for place, value in enumerate((0.40, 0.41, 0.42))
        ]

    shares = share_inside({"kind": "winding_resistance"}, make, {"resistance_unbalance_pct": 100 * 0.02 / 0.41}, EXACT)
    assert within(shares), shares


def test_capacitance_its_change_and_the_dissipation_factor_lie_in_their_intervals():
    setup = parse_setup({"instruments": [{"name": "bridge", "relative_uncertainty_pct": 0.2}]})

    def make(seed):
        scale = 1 + 0.001 * np.random.default_rng([seed, 6]).standard_normal()  # the same bridge before and after
        return [
            synthesise_table(
                {"capacitance_uf": capacitance * scale, "dissipation_factor": factor * scale},
                {
                    "capacitance_uf": Disturbance(noise=2e-3, step=1e-3, seed=seed + place * DRAWS),
                    "dissipation_factor": Disturbance(noise=2e-6, step=1e-6, seed=seed + (place + 2) * DRAWS),
                },
                rows=12,
            )
            for place, (capacitance, factor) in enumerate(((10.0, 1.0e-4), (10.1, 1.2e-4)))
        ]

    truths = {"capacitance_uf": 10.1, "capacitance_change_pct": 1.0, "dissipation_factor": 1.2e-4}
    shares = share_inside({"kind": "dissipation_factor"}, make, truths, setup)
    assert within(shares), shares


def test_inductance_losses_and_quality_lie_in_their_intervals():
    setup = parse_setup(
        {
            "instruments": [
                {"name": "bridge", "quantity": "inductance", "relative_uncertainty_pct": 0.2},
                {"name": "wattmeter", "quantity": "loss", "relative_uncertainty_pct": 1.0},
                {"name": "transformer", "quantity": "current", "relative_uncertainty_pct": 0.2},
                {"name": "micro-ohmmeter", "quantity": "resistance", "relative_uncertainty_pct": 0.2},
                {"name": "thermometer", "quantity": "temperature", "expanded_uncertainty": 0.5},
            ]
        }
    )

    def make(seed):
        chance = np.random.default_rng([seed, 7])
        exact = {
            "inductance_mh": 5 * (1 + 0.001 * chance.standard_normal()),
            "loss_w": 250 * (1 + 0.005 * chance.standard_normal()),
            "current_a": 50 * (1 + 0.001 * chance.standard_normal()),
            "temperature_c": 20 + 0.25 * chance.standard_normal(),
            "frequency_hz": 60.0,
        }
        how = {
            "inductance_mh": Disturbance(noise=5e-3, step=1e-3, seed=seed),
            "loss_w": Disturbance(noise=1.0, step=0.1, seed=seed + DRAWS),
        }
        return [synthesise_table(exact, how, rows=6)]

    step = {
        "kind": "inductance",
        "frequency_hz": 60,
        "rated_current_a": 100,
        "material": "copper",
        "reference_temperature_c": 75,
        "dc_resistance_ohm": 0.08,
        "dc_resistance_temperature_c": 20,
    }
    truths = {
        "inductance_mh": 5.0,
        "loss_w": 1000.0,
        "loss_at_reference_w": 800 * 310 / 255 + 200 * 255 / 310,
        "quality_factor": 2 * np.pi * 60 * 5e-3 / 0.1,
    }
    shares = share_inside(step, make, truths, setup)
    # The resistance and its temperature are stated without error in these draws, which makes the interval of the loss
    # at reference temperature a little wide; the others are drawn as the set-up states them.
    wide = shares.pop("loss_at_reference_w")
    assert within(shares), shares
    assert wide >= LEAST
