"""Worked examples of the guides to uncertainty and to conformity (see SOURCE.md)."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import GTC
import pytest

from equipment.metrology.budget import CORRELATED_NOTE, evaluate_budget, read_budget
from equipment.metrology.conformity import DECISION_RULES, decide, probability_of_conformity
from equipment.metrology.monte_carlo import propagate
from equipment.metrology.rounding import rounded

DATA = Path(__file__).parent / "data"

END_GAUGE = {
    "measurand": "length of the end gauge",
    "unit": "nm",
    "model": "ls + d + d1 + d2 - ls * (da * (theta_mean + delta) + alpha_s * dtheta)",
    "coverage_probability": 0.99,
    "inputs": [
        {"name": "ls", "value": 50000623, "standard_uncertainty": 25, "degrees_of_freedom": 18},
        {"name": "d", "value": 215, "standard_uncertainty": 5.8, "degrees_of_freedom": 24},
        {"name": "d1", "value": 0, "standard_uncertainty": 3.9, "degrees_of_freedom": 5},
        {"name": "d2", "value": 0, "standard_uncertainty": 6.7, "degrees_of_freedom": 8},
        {"name": "alpha_s", "value": 11.5e-6, "half_width": 2e-6, "distribution": "rectangular"},
        {"name": "da", "value": 0, "half_width": 1e-6, "distribution": "rectangular", "degrees_of_freedom": 50},
        {"name": "dtheta", "value": 0, "half_width": 0.05, "distribution": "rectangular", "degrees_of_freedom": 2},
        {"name": "theta_mean", "value": -0.1, "standard_uncertainty": 0.2},
        {"name": "delta", "value": 0, "half_width": 0.5, "distribution": "arcsine"},
    ],
}


def h2_budget() -> dict:
    with (DATA / "gum_h2.csv").open(encoding="utf-8") as lines:
        rows = [[float(cell) for cell in row] for row in list(csv.reader(lines))[1:]]
    columns = list(zip(*rows, strict=True))
    return {
        "models": {
            "R": "v / (i / 1000) * cos(phi)",
            "X": "v / (i / 1000) * sin(phi)",
            "Z": "v / (i / 1000)",
        },
        "inputs": [{"name": name, "observations": list(columns[n])} for n, name in enumerate(("v", "i", "phi"))],
        "correlate_observations": True,
    }


def test_end_gauge_first_order():
    answer = evaluate_budget(read_budget(END_GAUGE)).as_dict()
    assert answer["value"] == pytest.approx(50000838, abs=0.5)
    assert answer["standard_uncertainty"] == pytest.approx(32, abs=0.5)
    assert math.floor(answer["effective_degrees_of_freedom"]) == 16
    assert answer["coverage_factor"] == pytest.approx(2.92, abs=0.005)
    assert answer["expanded_uncertainty"] == pytest.approx(93, abs=1)  # the guide multiplies the rounded 32 nm
    lines = {line["name"]: line["contribution"] for line in answer["contributions"]}
    d = math.hypot(lines["d"], lines["d1"], lines["d2"])
    printed = {"ls": (lines["ls"], 25, 0.5), "d": (d, 9.7, 0.05), "dtheta": (lines["dtheta"], 16.6, 0.05)}
    for value, expected, tolerance in printed.values():
        assert value == pytest.approx(expected, abs=tolerance)
    # -ls·θ·δα prints 2.9; alpha_s contributes nothing at first order, because the mean of dtheta is 0
    assert lines["da"] == pytest.approx(2.9, abs=0.05)
    assert lines["alpha_s"] == 0


def test_end_gauge_second_order_by_monte_carlo():
    inputs = [
        {key: value for key, value in table.items() if key != "degrees_of_freedom"} for table in END_GAUGE["inputs"]
    ]
    result = propagate(read_budget(END_GAUGE | {"inputs": inputs}), trials=400_000, seed=5)["model"]
    assert result.standard_uncertainty == pytest.approx(34, abs=0.5)  # the guide's total with second-order terms


@pytest.mark.parametrize(
    ("name", "value", "u", "tolerance"),
    [("R", 127.732, 0.071, 0.0005), ("X", 219.847, 0.295, 0.001), ("Z", 254.260, 0.236, 0.0005)],
)
def test_simultaneous_resistance_and_reactance(name, value, u, tolerance):
    statement = evaluate_budget(read_budget(h2_budget())).statements[name]
    assert statement.value == pytest.approx(value, abs=0.0005)
    assert statement.standard_uncertainty == pytest.approx(u, abs=tolerance)
    assert statement.effective_degrees_of_freedom is None
    assert statement.notes == (CORRELATED_NOTE,)


def test_means_uncertainties_and_correlations_of_the_observed_inputs():
    budget = read_budget(h2_budget())
    for item, value, u in zip(budget.inputs, (4.9990, 19.6610, 1.04446), (0.0032, 0.0095, 0.00075), strict=True):
        assert item.value == pytest.approx(value, abs=5e-6)
        assert item.standard_uncertainty == pytest.approx(u, rel=0.02)  # two printed digits
    printed = {(0, 1): -0.36, (0, 2): 0.86, (1, 2): -0.65}
    for (row, column), r in printed.items():
        assert budget.correlations[row, column] == pytest.approx(r, abs=0.0055)  # −0.355 and −0.645 round either way


def test_correlations_of_resistance_reactance_and_impedance():
    matrix = evaluate_budget(read_budget(h2_budget())).as_dict()["correlation_matrix"]
    assert matrix["R"]["X"] == pytest.approx(-0.588, abs=0.0005)
    assert matrix["R"]["Z"] == pytest.approx(-0.485, abs=0.0005)
    assert matrix["X"]["Z"] == pytest.approx(0.993, abs=0.0005)
    assert matrix["X"]["R"] == matrix["R"]["X"]
    assert matrix["R"]["R"] == 1


def test_simultaneous_observations_agree_with_another_engine():
    table = h2_budget()
    v, i, phi = GTC.type_a.multi_estimate_real([item["observations"] for item in table["inputs"]])
    theirs = {
        "R": v / (i / 1000) * GTC.cos(phi),
        "X": v / (i / 1000) * GTC.sin(phi),
        "Z": v / (i / 1000),
    }
    for name, statement in evaluate_budget(read_budget(table)).statements.items():
        assert statement.value == pytest.approx(theirs[name].x, rel=1e-14)
        assert statement.standard_uncertainty == pytest.approx(theirs[name].u, rel=1e-11)


def test_ten_kiloohm_resistor():
    spread = 0.158e-6  # experimental standard deviation of five ratios; the mean has it over √5
    table = {
        "measurand": "resistance",
        "unit": "Ω",
        "model": "(RS + dRD + dRTS) * rC * r - dRTX",
        "coverage_probability": 0.9545,
        "inputs": [
            {"name": "RS", "value": 10000.053, "expanded_uncertainty": 0.005, "coverage_factor": 2},
            {"name": "dRD", "value": 0.020, "half_width": 0.010, "distribution": "rectangular"},
            {"name": "dRTS", "value": 0, "half_width": 0.00275, "distribution": "rectangular"},
            {"name": "dRTX", "value": 0, "half_width": 0.0055, "distribution": "rectangular"},
            {"name": "rC", "value": 1, "half_width": 1e-6, "distribution": "triangular"},
            {
                "name": "r",
                "value": 1.0000105,
                "standard_uncertainty": spread / math.sqrt(5),
                "degrees_of_freedom": 4,
            },
        ],
    }
    answer = evaluate_budget(read_budget(table)).as_dict()
    assert answer["value"] == pytest.approx(10000.178, abs=0.0005)
    assert answer["standard_uncertainty"] == pytest.approx(0.00833, abs=5e-6)
    assert answer["coverage_factor"] == pytest.approx(2.00, abs=0.005)
    assert rounded(answer["value"], answer["expanded_uncertainty"]).value_text == "10000.178"
    assert rounded(answer["value"], answer["expanded_uncertainty"]).uncertainty_text == "0.017"


def test_sum_of_four_normal_inputs():
    inputs = [{"name": f"x{n}", "value": 0, "standard_uncertainty": 1} for n in range(1, 5)]
    budget = read_budget({"model": "x1 + x2 + x3 + x4", "inputs": inputs})
    answer = evaluate_budget(budget).as_dict()
    assert answer["standard_uncertainty"] == pytest.approx(2.0, rel=1e-15)
    assert answer["expanded_uncertainty"] == pytest.approx(3.92, abs=0.005)
    drawn = propagate(budget, trials=1_000_000, seed=2)["model"]
    assert drawn.standard_uncertainty == pytest.approx(2.0, abs=0.01)
    assert (drawn.low, drawn.high) == pytest.approx((-3.92, 3.92), abs=0.03)


@pytest.mark.parametrize(
    ("value", "u", "limits", "probability", "percent"),
    [
        (-5.47, 0.05, {"maximum": -5.40}, 0.9192, 92),
        (509.7, 8.6, {"minimum": 490.0}, 0.9890, 99),
    ],
)
def test_probability_of_conformity(value, u, limits, probability, percent):
    p = probability_of_conformity(value, u, **limits)
    assert p == pytest.approx(probability, abs=0.00005)
    assert round(100 * p) == percent


@pytest.mark.parametrize("t", [-40.0, -3.0, -0.5, 0.0, 1.0, 2.5, 40.0])
@pytest.mark.parametrize("u", [1.0, 0.02])
def test_probability_of_conformity_with_few_degrees_of_freedom(t, u):
    """Student's distribution in closed form: F = 1/2 + arctan(t)/π for ν = 1, 1/2 + t/(2 √(2 + t²)) for ν = 2."""
    one, two = 0.5 + math.atan(t) / math.pi, 0.5 + t / (2 * math.sqrt(2 + t * t))
    for freedom, exact in ((1, one), (1.99, one), (2, two), (2.9, two)):  # truncated, as for k
        below = probability_of_conformity(5.0, u, maximum=5.0 + t * u, degrees_of_freedom=freedom)
        above = probability_of_conformity(5.0, u, minimum=5.0 - t * u, degrees_of_freedom=freedom)
        assert (below, above) == (pytest.approx(exact, abs=1e-12), pytest.approx(exact, abs=1e-12))
    assert probability_of_conformity(5.0, u, maximum=5.0 + t * u) == pytest.approx(
        0.5 * math.erfc(-t / math.sqrt(2)), abs=1e-12
    )


@pytest.mark.parametrize(("freedom", "k"), [(1, 13.97), (4, 2.87), (10, 2.28), (50, 2.05), (math.inf, 2.00)])
def test_the_probability_belongs_to_the_same_distribution_as_k(freedom, k):
    """JCGM 100, table G.2, p = 95.45 %, from memory: half a unit of k's last digit on either side holds the p."""
    inside = [
        [
            probability_of_conformity(10.0, 1.0, minimum=10 - end, maximum=10 + end, degrees_of_freedom=freedom),
            2 * probability_of_conformity(10.0, 1.0, maximum=10 + end, degrees_of_freedom=freedom) - 1,
        ]
        for end in (k - 0.005, k + 0.005)
    ]
    for low, high in zip(*inside, strict=True):
        assert low <= 0.9545 <= high
    decision = decide(value=10.0, expanded_uncertainty=k, coverage_factor=k, maximum=10 + k, degrees_of_freedom=freedom)
    assert decision.probability_of_conformity == pytest.approx((1 + (inside[0][0] + inside[1][0]) / 2) / 2, abs=1e-5)
    assert decision.verdict == "conforms"


@pytest.mark.parametrize("freedom", [0.5, 0.0, -1.0, math.nan])
def test_less_than_one_degree_of_freedom_tells_no_probability(freedom):
    with pytest.raises(ValueError, match="must be at least 1"):
        probability_of_conformity(1.0, 1.0, maximum=2.0, degrees_of_freedom=freedom)


def test_speed_guard_band():
    # Accepted as proof of speeding over 100 km/h with 99.9 %: (v − 100) / (0.02 v) = 3.0902, so v = 106.6 km/h
    v = 100 / (1 - 0.02 * 3.0902)
    assert v == pytest.approx(106.6, abs=0.05)
    assert probability_of_conformity(v, 0.02 * v, minimum=100) == pytest.approx(0.999, abs=1e-6)
    assert probability_of_conformity(107, 0.02 * 107, minimum=100) > 0.999


@pytest.mark.parametrize(
    ("rule", "exact"),
    [
        ("simple_acceptance", 0.50),
        ("iso_14253", 0.0485),
        ("guard_band", 0.02275),
        ("three_sigma", 0.00135),
        ("six_sigma", 0.00000000099),
    ],
)
def test_false_acceptance_at_the_acceptance_limit(rule, exact):
    expanded = 2.0
    limit = 10.0 - (DECISION_RULES[rule].guard_factor or 0.0) * expanded
    decision = decide(value=limit, expanded_uncertainty=expanded, maximum=10.0, rule=rule)
    assert decision.verdict == "conforms"
    assert 1 - decision.probability_of_conformity == pytest.approx(exact, rel=0.005)
    assert 1 - decision.probability_of_conformity <= DECISION_RULES[rule].false_acceptance_bound


def test_false_refusal_of_the_non_critical_rule():
    beyond = decide(value=12.0, expanded_uncertainty=2.0, maximum=10.0, rule="non_critical")
    assert beyond.verdict == "conforms"
    assert beyond.probability_of_conformity == pytest.approx(0.02275, abs=0.000005)
