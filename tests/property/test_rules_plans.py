"""Laws of plans: every figure has a basis, derivation is deterministic, a higher class is never tested lower."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedules.rules import EQUIPMENT_KINDS, BadRatings, derive_plan, load_packs
from schedules.rules.rounding import rounded_up, set_point
from schedules.rules.vocabulary import CONFIDENCES

PACKS = load_packs()
TABLES = [(pack, table) for pack in PACKS for table in pack.tables]
ROWS = [
    (kind, pack, row, impulse)
    for pack, table in TABLES
    for row in table.rows
    for impulse in row.lightning_impulse_kv
    for kind in pack.equipment
]


REACTIVE = {"inductance_mh": 5.0, "inductance_tolerance_pct": 3.0, "capacitance_tolerance_pct": 5.0}
ASKED_FOR = {
    "series_reactor": REACTIVE | {"quality_factor": 40.0, "quality_factor_tolerance_pct": 20.0, "tuned_order": 4.7},
    "shunt_reactor": REACTIVE,
    "capacitor_unit": {
        "rated_mvar": 0.2,
        "terminal_to_case_kv": 34.0,
        "capacitance_tolerance_pct": 5.0,
        "capacitance_change_limit_pct": 1.5,
    },
    "tuned_filter": REACTIVE
    | {"capacitance_uf": 50.0, "tuned_order": 5.305, "tuning_tolerance_pct": 2.0, "frequency_hz": 60.0},
    "instrument_transformer": {"transformer_type": "current", "insulation_medium": "solid"},
    "bushing": {"insulation_medium": "solid"},
}
"""What the packs ask for by name, besides the levels."""


def outcome(ratings):
    """Give the plan, or the refusal in its place; anything else that is raised fails the test."""
    try:
        return derive_plan(ratings)
    except BadRatings as refused:
        return refused


def figures(step):
    """Give the place of every stage and every limit of a step."""
    for stage in step.procedure.stages:
        yield f"stages.{stage.name}.voltage_kv"
        yield f"stages.{stage.name}.tolerance_pct"
        yield f"stages.{stage.name}.set_point_kv"
        if stage.hold_s is not None:
            yield f"stages.{stage.name}.hold_s"
    for part, criteria in (("criteria", step.procedure.criteria), ("setup_checks", step.procedure.setup_checks)):
        for one in criteria:
            place = f"{part}.{one.quantity}" + (f".{one.stage}" if one.stage else "")
            place += f".branch_{one.branch}" if one.branch else ""
            for name, bound in (("min", one.minimum), ("max", one.maximum), ("nominal", one.nominal)):
                if bound is not None:
                    yield f"{place}.{name}"


@settings(max_examples=150, deadline=None)
@given(
    row=st.sampled_from(ROWS),
    phases=st.sampled_from([1, 3]),
    classes=st.sampled_from([["routine"], ["routine", "type"], ["routine", "type", "special"]]),
    occasion=st.sampled_from(["first", "repeat", "after_erection"]),
    has_branches=st.booleans(),
    place=st.sampled_from(
        [{}, {"altitude_m": 500}, {"altitude_m": 2000}, {"altitude_m": 4500, "altitude_levels": "raised"}]
    ),
    is_direct=st.booleans(),
    data=st.data(),
)
def test_every_figure_has_a_basis(row, phases, classes, occasion, has_branches, place, is_direct, data):
    kind, pack, level, impulse = row
    others = [one for one in PACKS if kind in one.equipment and one.procedures and not one.tables]
    covering = [one.document for one in others if one.from_kv <= level.highest_voltage_kv <= one.to_kv]
    also = data.draw(st.lists(st.sampled_from(covering), max_size=2)) if covering else []
    ratings = {
        "equipment": kind,
        "highest_voltage_kv": level.highest_voltage_kv,
        "rated_voltage_kv": level.highest_voltage_kv,
        "lightning_impulse_kv": impulse,
        "standards": [pack.document, *also],
        "phases": phases,
        "tests": classes,
        "charge_limit_pc": 20.0,
        "dissipation_factor_limit": 0.01,
        "temperature_rise_limit_k": 80.0,
        "occasion": occasion,
    } | ASKED_FOR.get(kind, {})
    ratings |= place
    if is_direct and pack.document in ("IEEE C37.20.2", "IEEE C37.20.3"):
        ratings |= {"withstand_test": "direct", "direct_withstand_kv": 60.0}
    if has_branches and kind == "tuned_filter":
        ratings["branches"] = [
            {"tuned_order": 6.8, "inductance_mh": 3.804, "capacitance_uf": 40.0},
            {"tuned_order": 4.7, "capacitance_uf": 50.0},
        ]
    plan = derive_plan(ratings)
    for step in plan.steps:
        known = {one.of for one in step.basis}
        assert set(figures(step)) - known == set()
        assert {one.confidence for one in step.basis} <= set(CONFIDENCES)
        assert all(one.document and one.clause and one.formula for one in step.basis)
        assert step.arrangements
        raised = [stage for stage in step.procedure.stages if stage.altitude_factor is not None]
        assert bool(raised) <= ("values.altitude_factor" in known)
        assert all(stage.exact_kv == pytest.approx(stage.level_kv * stage.altitude_factor) for stage in raised)
        assert all(stage.exact_kv - 1e-6 <= stage.voltage_kv <= stage.set_point_kv for stage in step.procedure.stages)
    assert plan == derive_plan(dict(reversed(ratings.items())))


@settings(max_examples=150, deadline=None)
@given(voltage=st.floats(min_value=1.0, max_value=72.5), series=st.sampled_from(["I", "II"]))
def test_any_voltage_inside_the_table_gives_a_plan_or_asks_for_the_impulse_level(voltage, series):
    ratings = {
        "equipment": "metal_enclosed_switchgear",
        "highest_voltage_kv": voltage,
        "standards": ["IEC 62271-1"],
        "insulation_series": series,
    }
    found = outcome(ratings)
    if isinstance(found, BadRatings):
        assert (found.key, series) == ("lightning_impulse_kv", "II")
    else:
        assert [step.kind for step in found.steps] == ["power_frequency_withstand", "partial_discharge"]


@pytest.mark.parametrize(("pack", "table"), TABLES, ids=lambda one: one.name)
def test_a_higher_class_never_gives_a_lower_withstand(pack, table):
    best = [
        max(row.power_frequency_kv for row in rows)
        for _, rows in itertools.groupby(table.rows, lambda row: row.highest_voltage_kv)
    ]
    worst = [
        min(row.power_frequency_kv for row in rows)
        for _, rows in itertools.groupby(table.rows, lambda row: row.highest_voltage_kv)
    ]
    assert best == sorted(best)
    assert worst == sorted(worst)


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=200, deadline=None)
@given(
    kind=st.sampled_from(list(EQUIPMENT_KINDS)),
    changes=st.dictionaries(
        st.sampled_from(
            ["highest_voltage_kv", "lightning_impulse_kv", "phases", "standards", "tests", "serial", "colour"]
        ),
        JUNK,
        max_size=3,
    ),
)
def test_junk_is_refused_in_words_or_planned(kind, changes):
    found = outcome({"equipment": kind, "highest_voltage_kv": 15.5} | changes)
    assert (found.key and found.mend) if isinstance(found, BadRatings) else found.steps


@given(value=st.floats(min_value=0.01, max_value=1e4), step=st.sampled_from([0.01, 0.05, 0.1, 0.5]))
def test_rounding_upward(value, step):
    rounded = rounded_up(value, step)
    assert value - 1e-8 * step <= rounded <= value + step
    assert rounded_up(rounded, step) == rounded


@given(level=st.floats(min_value=0.1, max_value=1e3), tolerance=st.sampled_from([1.0, 3.0]))
def test_set_point_lies_at_or_above_the_level_inside_the_tolerance(level, tolerance):
    point = set_point(level, 0.05, tolerance)
    assert level * (1 - 1e-8) <= point <= level * (1 + tolerance / 100)
