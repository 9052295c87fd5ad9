"""Steps that few plans have: figures typed independently of the packs; sources in SOURCE.md."""

from __future__ import annotations

import math

import pytest

from schedules.rules import BadRatings, derive_plan, load_packs

CURRENT = {
    "equipment": "instrument_transformer",
    "highest_voltage_kv": 17.5,
    "lightning_impulse_kv": 95,
    "transformer_type": "current",
    "insulation_medium": "solid",
}
CAPACITOR = {
    "equipment": "capacitor_unit",
    "highest_voltage_kv": 17.5,
    "rated_voltage_kv": 7.2,
    "capacitance_uf": 10.0,
    "terminal_to_case_kv": 34,
    "dissipation_factor_limit": 0.001,
    "capacitance_tolerance_pct": 5,
    "capacitance_change_limit_pct": 1.5,
}
REACTOR = {
    "equipment": "series_reactor",
    "highest_voltage_kv": 15.5,
    "lightning_impulse_kv": 110,
    "inductance_mh": 5,
    "inductance_tolerance_pct": 3,
}
DRY = {"equipment": "dry_type_transformer", "highest_voltage_kv": 17.5, "rated_voltage_kv": 13.8}


def step(ratings, name):
    (found,) = [one for one in derive_plan(ratings).steps if one.procedure.name == name]
    return found


def exact(ratings, name):
    return [(stage.exact_kv, stage.hold_s) for stage in step(ratings, name).procedure.stages]


def test_inter_turn_test_of_current_transformers_only():
    """IEC 61869-1, from memory: 4.5 kV crest at most, 60 s; less where rated primary current gives less."""
    assert exact(CURRENT, "inter_turn") == [(pytest.approx(4.5 / math.sqrt(2), abs=1e-6), 60)]
    assert exact(CURRENT | {"inter_turn_kv": 1.2}, "inter_turn") == [(1.2, 60)]
    names = {one.procedure.name for one in derive_plan(CURRENT | {"transformer_type": "voltage_earthed"}).steps}
    assert "inter_turn" not in names


@pytest.mark.parametrize(
    ("standard", "rated_kv", "residual_v", "within_s"),
    [("IEEE 18", 7.2, 50, 300), ("IEEE 18", 0.48, 50, 60), ("IEC 60871-1", 7.2, 75, 600)],
)
def test_discharge_device(standard, rated_kv, residual_v, within_s):
    """From memory: 50 V in 5 min above 600 V and in 1 min up to it, 75 V in 10 min; R = t/(C·ln(√2·U/Ur))."""
    ratings = CAPACITOR | {"standards": [standard], "rated_voltage_kv": rated_kv, "highest_voltage_kv": 12}
    (criterion,) = step(ratings, "discharge_device").procedure.criteria
    wanted = within_s / (10e-6 * math.log(math.sqrt(2) * rated_kv * 1e3 / residual_v))
    assert (criterion.quantity, criterion.judges) == ("resistance_ohm", "unit")
    assert criterion.maximum == pytest.approx(wanted, rel=1e-9)
    assert "discharge_device" not in {
        one.procedure.name for one in derive_plan(ratings | {"discharge_device": "none"}).steps
    }


@pytest.mark.parametrize(
    ("installation", "factor"), [({}, 1.33), ({"installation": "outdoor"}, 1.33), ({"installation": "indoor"}, 1)]
)
def test_winding_overvoltage_of_iec_60076_6(installation, factor):
    """From memory, low certainty: first crest 1.33·√2·AV outdoor, √2·AV indoor, one minute; shown as crest/√2."""
    ratings = REACTOR | installation | {"standards": ["IEC 60076-6"], "power_frequency_kv": 50}
    assert exact(ratings, "winding_overvoltage") == [(pytest.approx(factor * 50), 60)]


def test_turn_to_turn_of_c57_16_is_asked_for_where_its_level_is_not_stated():
    """Its table is not shipped: nobody is sure of it."""
    silent = derive_plan(REACTOR | {"standards": ["IEEE C57.16"]})
    (waiting,) = [one for one in silent.other_tests if one.asks_for and one.test_class == "routine"]
    assert waiting.asks_for == "turn_to_turn_kv"
    assert any("state turn-to-turn level (turn_to_turn_kv, kV)" in one for one in silent.warnings)
    stated = REACTOR | {"standards": ["IEEE C57.16"], "turn_to_turn_kv": 34.5}
    assert exact(stated, "turn_to_turn") == [(34.5, 60)]
    assert exact(stated, "power_frequency_withstand") == [(50, 60)]


@pytest.mark.parametrize(
    ("ratings", "name", "level_kv"),
    [
        ({"equipment": "metal_enclosed_switchgear", "highest_voltage_kv": 15.5}, "control_wiring", 1.5),
        ({"equipment": "metal_clad_switchgear", "highest_voltage_kv": 15}, "control_wiring", 1.5),
        (
            {"equipment": "metal_clad_switchgear", "highest_voltage_kv": 24, "standards": ["IEC 62271-1"]},
            "auxiliary_circuits",
            2.0,
        ),
    ],
)
def test_wiring_of_switchgear(ratings, name, level_kv):
    """From memory: 1500 V (IEEE C37.20), 2 kV (IEC 62271-1), one minute, after the main circuit."""
    fitted = ratings | {"secondary_wiring": "fitted"}
    assert exact(fitted, name) == [(level_kv, 60)]
    assert derive_plan(fitted).steps[-1].procedure.name == name
    asked = [one.asks_for for one in derive_plan(ratings).other_tests if one.kind == "power_frequency_withstand"]
    assert asked == ["secondary_wiring"]
    without = derive_plan(ratings | {"secondary_wiring": "none"})
    assert name not in [one.procedure.name for one in without.steps]
    assert "secondary_wiring" not in [one.asks_for for one in without.other_tests]


def test_resistance_of_the_main_circuit():
    """IEC 62271-1, from memory: at most 1.2 times that of the type-test unit: 50 µΩ allow 60 µΩ."""
    unit = {"equipment": "metal_clad_switchgear", "highest_voltage_kv": 24, "standards": ["IEC 62271-1"]}
    (criterion,) = step(unit | {"main_circuit_resistance_uohm": 50}, "main_circuit").procedure.criteria
    assert criterion.maximum == pytest.approx(60e-6)
    assert derive_plan(unit | {"main_circuit_resistance_uohm": 50}).steps[0].procedure.name == "main_circuit"


@pytest.mark.parametrize(("rated_kv", "direct_kv"), [(0.69, 0.5), (2.4, 1), (4.16, 2.5), (11, 5), (13.8, 10)])
def test_direct_voltage_of_the_insulation_resistance(rated_kv, direct_kv):
    """IEEE 43-2013, from memory: lower ends of its ranges above 1 kV, 500 V below."""
    ratings = DRY | {"rated_voltage_kv": rated_kv, "tests": ["routine", "special"]}
    assert exact(ratings, "insulation_resistance") == [(direct_kv, 600)]


@pytest.mark.parametrize("standard", ["IEEE C57.16", "IEC 60076-6"])
def test_losses_are_reported_and_judged_where_the_order_guarantees_them(standard):
    silent = step(REACTOR | {"standards": [standard]}, "losses")
    assert (silent.procedure.criteria, silent.procedure.report[0]) == ((), "loss_w")
    (criterion,) = step(REACTOR | {"standards": [standard], "loss_limit_w": 900}, "losses").procedure.criteria
    assert (criterion.quantity, criterion.maximum) == ("loss_at_reference_w", 900)


@pytest.mark.parametrize(
    ("ratings", "constant"),
    [
        (DRY | {"winding_material": "copper"}, 235),
        (DRY | {"winding_material": "aluminium"}, 225),
        (REACTOR | {"standards": ["IEEE C57.16"], "winding_material": "copper"}, 234.5),
        (REACTOR | {"standards": ["IEEE C57.16"]}, None),
    ],
)
def test_temperature_constants_are_data_of_the_winding(ratings, constant):
    """From memory: copper 234.5 (IEEE) and 235 (IEC), aluminium 225; nothing is assumed of an unknown winding."""
    procedure = step(ratings, "winding_resistance").procedure
    assert (procedure.temperature_constant_c, procedure.reference_temperature_c) == (constant, 75)
    stated = step(ratings | {"reference_temperature_c": 120}, "winding_resistance").procedure
    assert stated.as_dict()["reference_temperature_c"] == 120


REDUCED = [
    (CURRENT, "power_frequency_withstand", "repeat", 0.8 * 38),
    (DRY, "applied_voltage", "repeat", 0.8 * 38),
    (DRY, "induced_voltage", "repeat", 0.8 * 27.6),
    (CAPACITOR, "terminal_to_case", "repeat", 0.75 * 34),
    (CAPACITOR | {"standards": ["IEC 60871-1"]}, "terminals_ac", "repeat", 0.75 * 14.4),
    (
        {"equipment": "metal_enclosed_switchgear", "highest_voltage_kv": 15.5},
        "power_frequency_withstand",
        "after_erection",
        0.75 * 50,
    ),
    (
        {"equipment": "metal_enclosed_switchgear", "highest_voltage_kv": 24, "standards": ["IEC 62271-1"]},
        "power_frequency_withstand",
        "after_erection",
        0.8 * 50,
    ),
]


@pytest.mark.parametrize(("ratings", "name", "occasion", "level_kv"), REDUCED)
def test_reduced_levels(ratings, name, occasion, level_kv):
    """Read in the handbook: 75 % after erection (IEEE), 75 % for capacitor cases; the rest from memory."""
    (stage,) = step(ratings | {"occasion": occasion}, name).procedure.stages
    assert stage.exact_kv == pytest.approx(level_kv)
    reason = next(
        one for one in step(ratings | {"occasion": occasion}, name).basis if one.of == "stages.withstand.voltage_kv"
    )
    assert reason.formula.endswith("* level_pct / 100")
    (full,) = step(ratings | {"occasion": "first"}, name).procedure.stages
    assert full.exact_kv > stage.exact_kv


def test_a_document_that_says_nothing_of_a_repeat_keeps_the_full_level_and_says_so():
    ratings = {"equipment": "series_reactor", "highest_voltage_kv": 15.5, "lightning_impulse_kv": 110}
    plan = derive_plan(ratings | {"occasion": "repeat"})
    assert plan.steps[0].procedure.stages[0].voltage_kv == 50
    told = [one.partition(" says nothing of another level for this occasion") for one in plan.warnings]
    assert [words for words, found, _ in told if found] == [
        "Power-frequency withstand, dry, one minute: Agreed levels for series reactors",
        "Partial discharge, agreed practice: Agreed discharge practice",
    ]


def test_retest_rules_are_data_with_clause_and_confidence():
    found = [rule for pack in load_packs() for one in pack.procedures for rule in one.retest]
    assert {rule.cause for rule in found} == {"repeat", "after_erection", "after_failure"}
    assert all(rule.words and rule.reason.clause and rule.reason.confidence for rule in found)
    shown = derive_plan(CURRENT).as_dict()["steps"][0]["retest"]
    assert (shown[0]["cause"], shown[0]["level_pct"], shown[0]["confidence"]) == ("repeat", 80, "memory")


def test_what_must_be_equal_before_a_type_test_of_a_sister_is_cited():
    """Common practice: the levels, the design, and what the insulation is made of."""
    (impulse,) = derive_plan(CURRENT | {"tests": ["type"]}).as_dict()["steps"]
    assert impulse["evidence"]["must_be_equal"] == [
        "design",
        "highest_voltage_kv",
        "power_frequency_kv",
        "lightning_impulse_kv",
        "insulation_medium",
        "transformer_type",
    ]
    assert all("evidence" not in one for one in derive_plan(CURRENT).as_dict()["steps"])


def test_the_alternative_that_was_chosen_is_recorded():
    choice = step(CAPACITOR | {"terminal_test": "direct"}, "terminals_dc").choice
    assert (choice.rating, choice.chosen, choice.is_stated) == ("terminal_test", "direct", True)
    assert choice.instead_of == ("Terminal to terminal, alternating voltage, 10 s (alternating)",)
    usual = step(CAPACITOR, "terminals_ac").choice
    assert (usual.chosen, usual.is_stated) == ("alternating", False)
    assert step(CAPACITOR, "terminal_to_case").choice is None


CLAD = {"equipment": "metal_clad_switchgear", "highest_voltage_kv": 15, "withstand_test": "direct"}
ENCLOSED = CLAD | {"equipment": "metal_enclosed_switchgear"}


@pytest.mark.parametrize(
    "ratings", [CLAD, CLAD | {"highest_voltage_kv": 8.25, "lightning_impulse_kv": 95}, ENCLOSED], ids=str
)
def test_direct_voltage_equivalents_of_the_switchgear_withstand(ratings):
    """Handbook Table 14.2: 50 kV at 8.25 kV (breaker type) and at 15 kV; 75 % of it after erection."""
    assert exact(ratings, "direct_withstand") == [(50, 60)]
    assert exact(ratings | {"occasion": "after_erection"}, "direct_withstand") == [(37.5, 60)]
    made = step(ratings, "direct_withstand")
    reason = next(one for one in made.basis if one.of == "stages.withstand.voltage_kv")
    assert reason.confidence == "published"
    assert (made.choice.chosen, made.choice.is_stated) == ("direct", True)
    assert made.choice.instead_of == ("Power-frequency withstand, dry, one minute (alternating)",)
    assert made.procedure.frequency_hz is None


@pytest.mark.parametrize(
    "ratings",
    [
        CLAD | {"highest_voltage_kv": 4.76},
        CLAD | {"highest_voltage_kv": 27},
        CLAD | {"highest_voltage_kv": 38},
        ENCLOSED | {"highest_voltage_kv": 4.76},
        ENCLOSED | {"highest_voltage_kv": 8.25},
        ENCLOSED | {"highest_voltage_kv": 15.5},
        ENCLOSED | {"highest_voltage_kv": 72.5},
    ],
    ids=str,
)
def test_doubtful_direct_voltages_are_asked_for(ratings):
    """Scan errors of the table, and above 25.8 kV the maker: no figure is shipped."""
    with pytest.raises(BadRatings, match=r"^direct_withstand_kv: is missing; give the direct-voltage level in kV"):
        derive_plan(ratings)
    stated = ratings | {"direct_withstand_kv": 66}
    assert exact(stated, "direct_withstand") == [(66, 60)]
    reason = next(one for one in step(stated, "direct_withstand").basis if one.of == "values.direct_withstand_kv")
    assert (reason.document, reason.clause) == ("Order", "as agreed in the order")


def test_a_direct_voltage_below_the_tables_is_refused():
    message = r"^direct_withstand_kv: is 49 kV, below the 50 kV of IEEE C37\.20\.2; correct it, or leave it out"
    with pytest.raises(BadRatings, match=message):
        derive_plan(CLAD | {"direct_withstand_kv": 49})
    assert exact(CLAD | {"direct_withstand_kv": 55}, "direct_withstand") == [(55, 60)]


@pytest.mark.parametrize(
    ("ratings", "name"),
    [
        ({"equipment": "metal_clad_switchgear", "highest_voltage_kv": 24, "standards": ["IEC 62271-1"]}, "withstand"),
        (CAPACITOR | {"standards": ["Reactive units by insulation level"]}, "terminal"),
    ],
)
def test_an_alternative_that_no_document_has_is_refused(ratings, name):
    with pytest.raises(BadRatings, match=f"^{name}_test: asks for direct voltage, and none of the documents in use"):
        derive_plan(ratings | {f"{name}_test": "direct"})
    assert derive_plan(ratings | {f"{name}_test": "alternating"}).steps


@pytest.mark.parametrize(("terminal_test", "factor"), [("alternating", 2.0), ("direct", 4.3)])
def test_three_phase_capacitor_in_wye(terminal_test, factor):
    """Excerpt of IEEE 18-1992: each phase to neutral, then √3 times that between outer and centre bushings, 10 s."""
    ratings = CAPACITOR | {"phases": 3, "terminal_test": terminal_test}
    kind = {"alternating": "ac", "direct": "dc"}[terminal_test]
    assert exact(ratings, f"wye_phases_{kind}") == [(pytest.approx(factor * 7.2 / math.sqrt(3)), 10)]
    assert exact(ratings, f"wye_bushings_{kind}") == [(pytest.approx(factor * 7.2), 10)]
    assert [one.name for one in step(ratings, f"wye_bushings_{kind}").arrangements] == [
        "bushing A to B",
        "bushing C to B",
    ]
    assert f"terminals_{kind}" not in {one.procedure.name for one in derive_plan(ratings).steps}
    assert step(ratings, f"wye_phases_{kind}").choice.chosen == terminal_test


BANK = {
    "equipment": "tuned_filter",
    "highest_voltage_kv": 15.5,
    "frequency_hz": 60,
    "inductance_tolerance_pct": 3,
    "capacitance_tolerance_pct": 5,
    "tuning_tolerance_pct": 2,
    "branches": [
        {"tuned_order": 4.7, "capacitance_uf": 50, "inductance_mh": 6.371},
        {"tuned_order": 6.8, "capacitance_uf": 40, "inductance_mh": 3.804, "tuning_tolerance_pct": 1},
    ],
}


def test_a_bank_has_each_branch_measured_and_one_criterion_for_each_in_the_sweep():
    plan = derive_plan(BANK)
    assert [(one.procedure.name, one.title.rpartition("(")[2]) for one in plan.steps[:4]] == [
        ("capacitance", "branch 1, order 4.7)"),
        ("capacitance", "branch 2, order 6.8)"),
        ("inductance", "branch 1, order 4.7)"),
        ("inductance", "branch 2, order 6.8)"),
    ]
    sweep = plan.steps[4].as_dict()["procedure"]
    assert sweep["frequency_hz"] == 60
    assert [(one["branch"], one["nominal"], one["tolerance_pct"]) for one in sweep["criteria"]] == [
        ("1", 4.7, 2),
        ("2", 6.8, 1),
    ]
    turned = derive_plan(BANK | {"branches": BANK["branches"][::-1]})
    assert turned.steps[4].as_dict()["procedure"] == sweep
    assert [one.kind for one in plan.steps[5:]] == ["power_frequency_withstand", "partial_discharge"]


@pytest.mark.parametrize(
    ("branches", "message"),
    [
        ([], "branches: is no list of branches; "),
        ("4.7", "branches: is no list of branches; "),
        ([{}], "branches[0]: is not an object with numbers; "),
        ([{"tuned_order": 4.7}, {"colour": 1}], "branches[1].colour: is no rating of a branch; "),
        ([{"tuned_order": 0.5}], "branches[0].tuned_order: is 0.5, outside what is possible; "),
        (
            [{"tuned_order": 4.7, "capacitance_uf": 50, "inductance_mh": 9}],
            "tuned_order: is 4.7, but 9 mH and 50 µF tune to ",
        ),
    ],
)
def test_branches_that_cannot_be(branches, message):
    with pytest.raises(BadRatings) as refused:
        derive_plan(BANK | {"branches": branches})
    assert str(refused.value).startswith(message)


def test_what_a_branch_does_not_state_follows_from_the_rest():
    """Algebra: L = 1/((2πf·h)²·C)."""
    plan = derive_plan(BANK | {"branches": [{"tuned_order": 4.7, "capacitance_uf": 50}]})
    assert plan.ratings["branches"][0]["inductance_mh"] == pytest.approx(
        1e9 / ((2 * math.pi * 60 * 4.7) ** 2 * 50), rel=1e-5
    )


def test_a_standard_for_another_kind_is_left_out_where_others_fit():
    ratings = {"equipment": "series_reactor", "highest_voltage_kv": 15.5, "lightning_impulse_kv": 110}
    plan = derive_plan(ratings | {"standards": ["IEEE C37.20.3", "IEEE 1291"]})
    assert "IEEE C37.20.3 is named by the order and is not for this kind of equipment." in plan.notes
    assert {one.document for one in plan.packs} >= {"IEEE 1291"}
    with pytest.raises(BadRatings, match=r"^standards\[0\]: IEEE C37.20.3 is not for series_reactor"):
        derive_plan(ratings | {"standards": ["IEEE C37.20.3", "IEC 60076-11"]})


def test_what_a_document_asks_beyond_the_kinds_of_step_is_said():
    found = derive_plan(DRY).as_dict()["not_planned"]
    assert [one["test"] for one in found if one["document"] == "IEC 60076-11"] == [
        "voltage ratio and vector group",
        "short-circuit impedance and load loss",
        "no-load loss and current",
        "sound level",
    ]
    assert all(one["edition"] and one["clause"] and one["confidence"] == "memory" for one in found)
    dropped = [
        (pack.name, one.test)
        for pack in load_packs()
        for one in pack.not_planned
        if not (one.clause and one.confidence)
    ]
    assert dropped == []
