"""Rows that every pack repeats: wave shape, tolerances, noise and calibration, against figures typed here."""

from __future__ import annotations

import pytest

from schedules.rules import load_packs

RULES = [(pack, rule) for pack in load_packs() for rule in pack.procedures]


def of_kind(kind):
    chosen = [(pack, rule) for pack, rule in RULES if rule.kind == kind]
    return pytest.mark.parametrize(
        ("pack", "rule"), chosen, ids=[f"{pack.name}-{rule.name}-{place}" for place, (pack, rule) in enumerate(chosen)]
    )


def bounds(rules, inputs):
    """Give (least, greatest) of each quantity that stands without a stage."""
    return {
        rule.quantity: tuple(
            None if rule.bounds.get(name) is None else rule.bounds[name].value(inputs) for name in ("min", "max")
        )
        for rule in rules
        if not rule.stage
    }


@of_kind("lightning_impulse")
def test_impulse_rows(pack, rule):
    """IEC 60060-1:2010 clause 7: 1.2 µs ±30 %, 50 µs ±20 %; from memory: level ±3 %, overshoot at most 10 %."""
    assert [(stage.polarity, stage.tolerance_pct) for stage in rule.stages] == [("positive", 3), ("negative", 3)]
    assert {stage.voltage_kv.value({"lightning_impulse_kv": 110.0}) for stage in rule.stages} == {110}
    assert bounds(rule.criteria, {}) == {
        "front_time_us": (pytest.approx(0.84), pytest.approx(1.56)),
        "time_to_half_value_us": (40, 60),
        "relative_overshoot_pct": (None, 10),
        "disruptive_discharges": (None, 0),
    }
    assert {one.quantity: one.judges for one in rule.criteria}["disruptive_discharges"] == "unit"


@of_kind("power_frequency_withstand")
def test_withstand_rows(pack, rule):
    """IEC 60060-1:2010 clause 6, from memory: ±1 % for holds up to 60 s, no disruptive discharge."""
    assert [stage.tolerance_pct for stage in rule.stages] == [1]
    assert [(one.quantity, one.judges, one.bounds["max"].value({})) for one in rule.criteria] == [
        ("disruptive_discharges", "unit", 0)
    ]


@of_kind("partial_discharge")
def test_discharge_rows(pack, rule):
    """IEC 60270, from memory: noise below half the permissible charge, calibration within 50 to 200 % of it."""
    limit = {"charge_limit_pc": 40.0}
    assert [stage.tolerance_pct for stage in rule.stages] == [3] * len(rule.stages)
    assert bounds(rule.criteria, limit)["background_noise_pc"] == (None, 20)
    assert bounds(rule.setup_checks, limit) == {"injected_charge_pc": (20, 80)}
    assert rule.threshold_pc.value(limit) == 10


def test_what_came_from_memory_says_so():
    """Only what was read says "published": handbook rows, the guide's paraphrase, IEEE 18-1992, wave shapes."""
    published = {
        pack.name
        for pack, rule in RULES
        for one in (*rule.stages, *rule.criteria, *rule.setup_checks, rule)
        if one.reason.confidence == "published"
        and getattr(one, "quantity", "") not in ("front_time_us", "time_to_half_value_us")
    }
    assert published <= {"ieee_1291_switchgear_discharge", "ieee_18_2012", "ieee_c37_20_2_2015", "ieee_c37_20_3_2013"}
