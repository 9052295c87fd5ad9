"""The table of kinds: what each needs is parsed and looked at from its row alone."""

from __future__ import annotations

import numpy as np
import pytest

from records.evaluation import evaluating
from records.evaluation.evaluating import evaluate
from records.evaluation.joining import RecordsDoNotJoin
from records.evaluation.keys import values_of
from records.evaluation.kinds import KINDS, Key
from records.evaluation.quantities import QUANTITIES
from records.evaluation.soundness import channels_of, unsound
from records.evaluation.step import BadStep, parse_step
from records.evaluation.usual import USUAL
from records.readers.recording import Recording
from records.readers.wanted import WANTED_BY_KIND
from schedules.rules.vocabulary import STEP_KINDS

NO_TIME = np.empty(0)


def test_the_table_holds_the_kinds_that_plans_know_and_only_known_quantities():
    assert set(KINDS) == set(STEP_KINDS)
    assert {name for kind in KINDS.values() for name in kind.quantities} == set(QUANTITIES)
    assert set(KINDS) >= evaluating.KINDS


def test_every_set_of_channels_holds_the_axis():
    for kind in KINDS.values():
        assert all(not kind.axis or kind.axis in wanted for wanted in kind.channels)


def test_every_kind_that_readers_know_is_evaluated():
    assert set(WANTED_BY_KIND) == set(KINDS)


def test_every_figure_of_the_trade_says_what_it_is_for_and_where_it_comes_from():
    for name, figure in USUAL.items():
        assert figure.what, name
        assert figure.document, name
        assert figure.confidence in ("published", "memory", "common practice"), name
        assert (figure.value == figure.value) != (figure.low is not None or figure.high is not None), name
        assert (figure.document == "none") == (figure.confidence == "common practice"), name


def impulse(**stage):
    return {"kind": "lightning_impulse", "stages": [{"name": "full", "voltage_kv": 125, **stage}]}


def test_an_impulse_stage_has_polarity_and_tolerance_and_no_hold():
    stage = parse_step(impulse(polarity="negative")).stages[0]
    assert (stage.voltage_kv, stage.hold_s, stage.tolerance_pct) == (125.0, 0.0, 3.0)
    assert stage.stated["polarity"] == "negative"
    assert stage.in_words == "125 kV ± 3 %"


def test_a_sweep_needs_no_stage_and_keeps_nominal_and_frequency():
    rows = [{"quantity": "tuned_order", "nominal": nominal, "tolerance_pct": 2} for nominal in (4.7, 6.8)]
    step = parse_step({"kind": "frequency_response", "frequency_hz": 60, "criteria": rows})
    assert step.stages == ()
    assert step.number("frequency_hz") == 60.0
    assert [(c.nominal, round(c.minimum, 6), round(c.maximum, 6)) for c in step.criteria] == [
        (4.7, 4.606, 4.794),
        (6.8, 6.664, 6.936),
    ]


def test_a_nominal_beside_limits_of_its_own_is_only_a_name():
    row = {"quantity": "resonance_hz", "nominal": 282, "min": 280, "max": 290}
    criterion = parse_step({"kind": "frequency_response", "criteria": [row]}).criteria[0]
    assert (criterion.nominal, criterion.minimum, criterion.maximum) == (282, 280, 290)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (impulse(polarity="up"), r"stages\[0\].polarity: “up” must be one of positive, negative"),
        (impulse(tolerance_pct=0), r"stages\[0\].tolerance_pct: 0 must be above 0"),
        ({"kind": "lightning_impulse"}, "at least one is needed, with name and voltage_kv"),
        ({"kind": "frequency_response", "stages": [{"name": "a"}]}, "a step of frequency_response has none; remove"),
        ({"kind": "frequency_response", "frequency_hz": "60"}, "frequency_hz: “60” is not a finite number"),
        ({"kind": "frequency_response", "frequency_hz": 0}, "frequency_hz: 0 must be above 0"),
        ({"kind": "winding_resistance", "reference_temperature_c": -300}, "must be above -273.15"),
        (
            {"kind": "frequency_response", "criteria": [{"quantity": "tuned_order", "stage": "a", "min": 4}]},
            "“a” is not among the stages; the step has none; remove it",
        ),
        (
            {"kind": "frequency_response", "criteria": [{"quantity": "tuned_order", "nominal": 4.7}]},
            r"criteria\[0\].tolerance_pct: is missing",
        ),
    ],
)
def test_what_a_kind_does_not_know_is_named(content, words):
    with pytest.raises(BadStep, match=words):
        parse_step(content)


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        (Key("n", "whole"), 2.5, "n: 2.5 must be a whole number"),
        (Key("n", "whole", at_least=1), 0, "n: 0 must be at least 1"),
        (Key("n", below=5.0), 5, "n: 5 must be below 5"),
        (Key("n"), 10**400, "is not a finite number"),
        (Key("n", is_required=True), None, "n: is missing; state a number"),
        (Key("n", "text"), " ", "must be a text"),
        (Key("n", "text"), 3, "“3” must be a text"),
        (Key("n", "label"), True, "“True” must be a text"),
        (Key("n", "label"), 1.5, "“1.5” must be a text"),
        (Key("n", "flag"), 1, "“1” must be true or false"),
        (Key("n", "numbers"), 3, "n: must be a list of numbers"),
        (Key("n", "numbers", above=0.0), [1, -1], r"n\[1\]: -1 must be above 0"),
        (Key("n", "rows"), [3], "n: must be a list of objects"),
        (Key("n", "rows", keys=(Key("a", is_required=True),)), [{}], r"n\[0\].a: is missing"),
        (Key("n", "object", keys=(Key("a"),)), [], "n: must be an object with a"),
        (Key("n", "object", keys=(Key("a"),)), {"a": "1"}, "n.a: “1” is not a finite number"),
    ],
)
def test_a_bad_value_names_its_place(key, value, words):
    with pytest.raises(BadStep, match=words):
        values_of({"n": value}, [key])


def test_good_values_come_back_in_their_own_type():
    keys = [
        Key("a"),
        Key("b", "whole"),
        Key("c", "flag"),
        Key("d", "numbers"),
        Key("e", "rows", keys=(Key("a"),)),
        Key("f"),
    ]
    stated = values_of({"a": 1, "b": 2.0, "c": False, "d": [1, 2], "e": [{"a": 3, "x": 4}], "g": 5}, keys)
    assert stated == {"a": 1.0, "b": 2, "c": False, "d": (1.0, 2.0), "e": ({"a": 3.0},)}
    assert isinstance(stated["b"], int)


def test_a_label_is_a_name_or_a_number():
    assert values_of({"n": 3, "m": "fifth"}, [Key("n", "label"), Key("m", "label")]) == {"n": "3", "m": "fifth"}


def sweep(**channels):
    return Recording(NO_TIME, {name: np.asarray(values, dtype=float) for name, values in channels.items()})


RISING = [1.0, 2.0, 3.0]


def test_any_one_set_of_channels_is_enough():
    kind = KINDS["frequency_response"]
    assert channels_of(sweep(frequency_hz=RISING, gain_db=RISING), kind) == ("frequency_hz", "gain_db")
    assert unsound(sweep(frequency_hz=RISING, impedance_ohm=RISING, phase_deg=RISING), kind) == ""


@pytest.mark.parametrize(
    ("record", "reason"),
    [
        (sweep(frequency_hz=RISING), "The record has none of the sets of channels"),
        (sweep(frequency_hz=[], gain_db=[]), "The record has 0 samples"),
        (sweep(frequency_hz=RISING[::-1], gain_db=RISING), "Frequency goes backwards at sample 2."),
        (sweep(frequency_hz=[1, 2, 2], gain_db=RISING), "Sample 3 carries the same frequency as the one before it."),
        (sweep(frequency_hz=[2, 2, 2], gain_db=RISING), "All samples carry the same frequency."),
        (sweep(frequency_hz=[1, 2, np.inf], gain_db=RISING), "Sample 3 of the frequency is not a finite number"),
        (sweep(frequency_hz=[1, 2], gain_db=RISING), "The record's columns are not of one length"),
    ],
)
def test_a_sweep_runs_over_frequency(record, reason):
    assert unsound(record, KINDS["frequency_response"]).startswith(reason)


def test_a_table_has_no_axis_and_may_have_one_row():
    kind = KINDS["winding_resistance"]
    assert unsound(sweep(resistance_ohm=[0.42]), kind) == ""
    assert unsound(sweep(resistance_ohm=[]), kind) == "The record has 0 samples; at least 1 is needed."


def test_a_wave_without_time_says_so():
    record = sweep(voltage_kv=RISING)
    step = {"kind": "power_frequency_withstand", "stages": [{"name": "a", "voltage_kv": 1, "hold_s": 1}]}
    assert evaluate(step, [record]).findings[0].reason == "The record has no time. The unit was not judged."


def test_a_kind_without_stages_that_cannot_be_looked_at_is_not_valid(monkeypatch):
    monkeypatch.setattr(evaluating, "_OF_SEVERAL", {"frequency_response": None})
    monkeypatch.setattr(evaluating, "KINDS", {"frequency_response"})
    bad, good = sweep(frequency_hz=RISING), sweep(frequency_hz=RISING, gain_db=RISING)
    evaluation = evaluate({"kind": "frequency_response"}, [good, bad])
    assert (evaluation.verdict, evaluation.rows) == ("not_valid", 6)
    finding = evaluation.findings[0]
    assert (finding.quantity, finding.stage, finding.verdict) == ("resonance_hz", None, "not_valid")
    assert finding.reason.startswith("Record 2 of 2: The record has none of the sets of channels")


def test_no_record_is_refused_for_every_kind():
    for kind in evaluating.KINDS:
        need = KINDS[kind].stages
        stage = {"name": "a", "voltage_kv": 1, **({"hold_s": 1} if need and need.keys[-1].name == "hold_s" else {})}
        step = {"kind": kind, **({"stages": [stage]} if need else {})}
        if KINDS[kind].must_judge_unit:
            step["criteria"] = [{"quantity": "apparent_charge_pc", "max": 1}]
        with pytest.raises(RecordsDoNotJoin, match="No record was given"):
            evaluate(step, [])


def test_a_kind_that_no_module_examines_is_refused(monkeypatch):
    monkeypatch.setattr(evaluating, "KINDS", frozenset())
    with pytest.raises(BadStep, match="cannot be evaluated by this release"):
        evaluate({"kind": "frequency_response"}, [sweep(frequency_hz=RISING, gain_db=RISING)])
