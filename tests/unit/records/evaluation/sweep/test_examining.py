"""Sweeps against their step: branches matched to criteria, and reasons where there is nothing to judge."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.setups import Instrument, Setup
from records.evaluation.step import Criterion
from records.evaluation.sweep.matching import matched
from records.evaluation.sweep.synthesis import SeriesBranch, impedance_of, synthesise_sweep
from records.readers.recording import Recording
from schedules.rules import derive_plan

SETUP = Setup(instruments=(Instrument("bridge", 0.5, 2.0, "impedance"), Instrument("clock", 0.02, 2.0, "frequency")))
BRANCHES = (
    SeriesBranch.tuned(282.5, 60, 6.37),
    SeriesBranch.tuned(408.0, 80, 4.0),
    SeriesBranch.tuned(700.0, 40, 2.0),
)


def order(nominal, tolerance_pct=2.0):
    return {"quantity": "tuned_order", "nominal": nominal, "tolerance_pct": tolerance_pct, "judges": "unit"}


def step(*criteria, **more):
    return {"kind": "frequency_response", "frequency_hz": 60, "criteria": list(criteria), **more}


SWEEP = synthesise_sweep(BRANCHES, seed=1, points=800, noise_db=0.05, noise_deg=0.3)
FREQUENCY = SWEEP.channels["frequency_hz"]


def altered(**channels):
    return Recording(np.empty(0), {**SWEEP.channels, **channels})


def found(evaluation, quantity):
    return [row for row in evaluation.findings if row.quantity == quantity]


def test_each_criterion_gets_its_branch_whatever_the_order_they_stand_in():
    evaluation = evaluate(step(order(6.8), order(4.7), order(11.6)), [SWEEP], SETUP)
    assert evaluation.verdict == "conforms"
    values = [row.value for row in found(evaluation, "tuned_order")]
    assert values == pytest.approx([408 / 60, 282.5 / 60, 700 / 60], rel=1e-3)
    json.dumps(evaluation.as_dict(), allow_nan=False)


def test_a_detuned_branch_does_not_conform():
    evaluation = evaluate(step(order(4.7, 0.1), order(6.8), order(11.6)), [SWEEP], SETUP)
    assert evaluation.verdict == "does_not_conform"
    assert [row.verdict for row in found(evaluation, "tuned_order")] == ["does_not_conform", "conforms", "conforms"]


def test_uncertainty_has_the_instrument_and_the_fit():
    """0.02 % of 282.5 Hz is 0.0565 Hz at k = 2; the fit adds some hundredths."""
    row = found(evaluate(step(), [SWEEP], SETUP), "resonance_hz")[0]
    assert 0.0565 < row.expanded_uncertainty < 0.08
    inductance = found(evaluate(step(), [SWEEP], SETUP), "inductance_mh")[0]
    assert 0.005 * 6.37 < inductance.expanded_uncertainty < 0.008 * 6.37


def test_without_criteria_it_is_told_and_nothing_is_judged():
    evaluation = evaluate(step(), [SWEEP], SETUP)
    assert evaluation.verdict == "conforms"
    assert all(row.minimum is None and row.maximum is None for row in evaluation.findings)
    assert any("Parallel resonances at 328.5" in remark for remark in evaluation.remarks)


def test_a_branch_that_is_not_there_is_inconclusive():
    two = synthesise_sweep(BRANCHES[:2], seed=1, points=800)
    evaluation = evaluate(step(order(4.7), order(6.8), order(11.6)), [two], SETUP)
    assert evaluation.verdict == "inconclusive"
    assert "no branch near 11.6" in found(evaluation, "tuned_order")[2].reason


def test_a_sweep_that_does_not_reach_the_order_is_not_valid():
    evaluation = evaluate(step(order(100.0)), [SWEEP], SETUP)
    assert evaluation.verdict == "not_valid"
    assert "does not reach the 6000 Hz" in found(evaluation, "tuned_order")[0].reason


def test_the_order_needs_the_fundamental():
    evaluation = evaluate({"kind": "frequency_response", "criteria": [order(4.7)]}, [SWEEP], SETUP)
    assert evaluation.verdict == "inconclusive"
    assert "states no rated frequency" in found(evaluation, "tuned_order")[0].reason


def test_a_criterion_may_number_its_branch():
    row = {"quantity": "quality_factor", "min": 70, "branch": 2}
    assert found(evaluate(step(row), [SWEEP], SETUP), "quality_factor")[0].value == pytest.approx(80, rel=0.01)


def test_what_the_plan_says_of_a_branch_is_judged_on_the_branch_of_that_name():
    """The quality factors are 60, 80 and 40: by their own nominals the second and third would be exchanged."""
    named = [{**order(nominal), "branch": name} for nominal, name in ((11.6, "c"), (6.8, "b"), (4.7, "a"))]
    quality = [{"quantity": "quality_factor", "min": 35, "branch": name} for name in "abc"]
    evaluation = evaluate(step(*named, *quality), [SWEEP], SETUP)
    values = [row.value for row in found(evaluation, "quality_factor")]
    assert values == pytest.approx([60, 80, 40], rel=0.02)


def test_the_sweep_of_a_planned_filter_bank_is_judged():
    """The plan is derived from ratings; its branches are synthesised from the same nameplate."""
    bank = {
        "equipment": "tuned_filter",
        "highest_voltage_kv": 15.5,
        "frequency_hz": 60,
        "inductance_tolerance_pct": 3,
        "capacitance_tolerance_pct": 5,
        "tuning_tolerance_pct": 2,
        "branches": [
            {"tuned_order": 4.7, "capacitance_uf": 50, "inductance_mh": 6.371},
            {"tuned_order": 6.8, "capacitance_uf": 40, "inductance_mh": 3.804},
        ],
    }
    planned = next(one for one in derive_plan(bank).as_dict()["steps"] if one["kind"] == "frequency_response")
    made = [SeriesBranch(0.2, 6.371, 50), SeriesBranch(0.2, 3.804, 40)]
    evaluation = evaluate(planned, [synthesise_sweep(made, seed=1, points=600, noise_db=0.05)], SETUP)
    assert evaluation.verdict == "conforms"
    assert len(found(evaluation, "tuned_order")) == 2


def test_matching_takes_no_value_twice_and_least_distance_in_all():
    def near(nominal, **stated):
        return Criterion("tuned_order", nominal=None if stated else nominal, minimum=nominal, stated=stated)

    assert matched([near(5.0), near(4.8)], [4.7, 4.9]) == {0: 1, 1: 0}
    assert matched([near(5.0), near(4.8), near(4.7)], [4.7]) == {2: 0}
    assert matched([near(5.0, branch="1"), near(4.8)], [4.7, 9.0]) == {0: 0, 1: 1}
    assert matched([near(5.0)], []) == {}


def as_channels(values, first, second):
    return {first: values.real.copy(), second: values.imag.copy()}


def test_impedance_reflection_and_transfer_say_the_same():
    impedance = impedance_of(FREQUENCY, BRANCHES)
    reflection = (impedance - 50) / (impedance + 50)
    transfer = 50 / (50 + impedance)
    ways = [
        (as_channels(impedance, "impedance_real_ohm", "impedance_imag_ohm"), {}, {}),
        (as_channels(reflection, "reflection_real", "reflection_imag"), {"reference_ohm": "50"}, {}),
        (as_channels(reflection, "reflection_real", "reflection_imag"), {}, {"reference_ohm": 50}),
        (
            {"gain_db": 20 * np.log10(np.abs(transfer)), "phase_deg": np.degrees(np.angle(transfer))},
            {},
            {"termination_ohm": 50},
        ),
    ]
    for channels, metadata, more in ways:
        record = Recording(np.empty(0), {"frequency_hz": FREQUENCY, **channels}, metadata)
        row = found(evaluate(step(**more), [record], SETUP), "inductance_mh")[0]
        assert row.value == pytest.approx(6.37, rel=1e-6), channels.keys()


@pytest.mark.parametrize("has_phase", [True, False])
def test_into_what_a_transfer_was_measured_does_not_matter_to_resonance_and_quality(has_phase):
    """H = Rt/(Z + Rt) gives Z/Rt whatever Rt is; f0 and Q are those of Z/Rt, its L, C and R are not those of Z."""
    transfer = 2 / (2 + impedance_of(FREQUENCY, BRANCHES))
    phase = {"phase_deg": np.degrees(np.angle(transfer))} if has_phase else {}
    record = Recording(np.empty(0), {"frequency_hz": FREQUENCY, "gain_db": 20 * np.log10(np.abs(transfer)), **phase})
    known = evaluate(step(order(4.7), termination_ohm=2), [record], SETUP)
    alone = evaluate(step(order(4.7)), [record], SETUP)
    assert (known.verdict, alone.verdict) == ("conforms", "conforms")
    for name in ("tuned_order", "quality_factor"):
        assert found(alone, name)[0].value == pytest.approx(found(known, name)[0].value, rel=1e-6)
    asked = evaluate(step({"quantity": "inductance_mh", "min": 1.0}), [record], SETUP)
    assert asked.verdict == "inconclusive"
    row = found(asked, "inductance_mh")[0]
    assert row.value is None
    assert "hangs on the resistance into which the transfer was measured" in row.reason


def test_a_negative_impedance_is_none():
    channels = {"impedance_ohm": -SWEEP.channels["impedance_ohm"], "phase_deg": SWEEP.channels["phase_deg"]}
    evaluation = evaluate(step(order(4.7)), [Recording(np.empty(0), {"frequency_hz": FREQUENCY, **channels})], SETUP)
    assert evaluation.verdict == "not_valid"
    assert "is not a value above 0" in evaluation.findings[0].reason


def test_a_sweep_that_is_cut_off_where_it_begins_is_not_judged():
    size = SWEEP.channels["impedance_ohm"]
    limit = size[:30].min()
    channels = {"impedance_ohm": np.minimum(size, limit), "phase_deg": SWEEP.channels["phase_deg"]}
    assert (channels["impedance_ohm"][:30] == limit).all()
    evaluation = evaluate(step(order(4.7)), [Recording(np.empty(0), {"frequency_hz": FREQUENCY, **channels})], SETUP)
    assert evaluation.verdict == "not_valid"
    assert "carry the greatest value" in evaluation.findings[0].reason


def test_a_transfer_without_branches_is_compared():
    record = Recording(np.empty(0), {"frequency_hz": FREQUENCY, "gain_db": -np.abs(np.log(FREQUENCY))})
    evaluation = evaluate(step(order(4.7)), [record], SETUP)
    assert evaluation.verdict == "inconclusive"
    limit = {"quantity": "correlation", "min": 0.99}
    assert evaluate(step(limit), [record, record], SETUP).verdict == "conforms"


def test_a_transfer_without_phase_has_its_branches_where_its_termination_is_stated():
    """Into 2 Ω: H = 2/(2 + Z), so 0.05 dB of noise is 0.6 % of 2 Ω + Z; the reason says that there was no phase."""
    chance = np.random.default_rng(3)
    level = 20 * np.log10(np.abs(2 / (2 + impedance_of(FREQUENCY, BRANCHES)))) + 0.05 * chance.standard_normal(800)
    record = Recording(np.empty(0), {"frequency_hz": FREQUENCY, "gain_db": level})
    evaluation = evaluate(step(order(4.7), order(6.8), order(11.6), termination_ohm=2), [record], SETUP)
    assert evaluation.verdict == "conforms"
    rows = found(evaluation, "tuned_order")
    assert [row.value for row in rows] == pytest.approx([282.5 / 60, 408 / 60, 700 / 60], rel=2e-3)
    assert all("There was no phase: it is fitted to the magnitude alone." in row.reason for row in rows)
    assert any("a transfer into 2 Ω without phase" in remark for remark in evaluation.remarks)


def test_an_impedance_without_phase_has_its_branches():
    bare = Recording(np.empty(0), {"frequency_hz": FREQUENCY, "impedance_ohm": SWEEP.channels["impedance_ohm"]})
    evaluation = evaluate(step(order(4.7), order(6.8), order(11.6)), [bare], SETUP)
    assert evaluation.verdict == "conforms"
    assert "There was no phase" in found(evaluation, "tuned_order")[0].reason
    assert found(evaluation, "inductance_mh")[0].value == pytest.approx(6.37, rel=5e-3)


def test_a_branch_that_the_measuring_resistance_hides_is_not_told():
    """0.1 dB of 50 Ω are 0.6 Ω; the third branch has 0.22 Ω at resonance."""
    chance = np.random.default_rng(3)
    level = 20 * np.log10(np.abs(50 / (50 + impedance_of(FREQUENCY, BRANCHES)))) + 0.1 * chance.standard_normal(800)
    record = Recording(np.empty(0), {"frequency_hz": FREQUENCY, "gain_db": level})
    evaluation = evaluate(step(order(11.6), termination_ohm=50), [record], SETUP)
    assert evaluation.verdict == "inconclusive"
    reason = found(evaluation, "tuned_order")[0].reason
    assert "is not told: through 50 Ω some" in reason
    assert "samples that scatter by 0.097 dB. Measure the impedance" in reason


def test_through_a_resistance_an_error_of_scale_counts_for_what_it_does():
    """One branch, H = Rt/(R + Rt) at its resonance: 1 % of H is 0.01 (R + Rt) of R, so with 0.5 Ω and 2 Ω 5 % of R."""
    branch = SeriesBranch(0.5, 6.37, 50.0)
    level = 20 * np.log10(np.abs(2 / (2 + branch.impedance(FREQUENCY))))
    record = Recording(np.empty(0), {"frequency_hz": FREQUENCY, "gain_db": level})
    setup = Setup(instruments=(Instrument("analyser", 1.0, 2.0, "impedance"),))
    alone = found(evaluate(step(termination_ohm=2), [record], setup), "resistance_ohm")[0]
    assert alone.expanded_uncertainty == pytest.approx(0.01 * 2.5, rel=1e-3)
    assert alone.value == pytest.approx(0.5, rel=1e-6)
    nobody = found(evaluate(step(termination_ohm=2), [record], Setup()), "quality_factor")[0]
    assert nobody.expanded_uncertainty is None


def test_records_of_different_forms_are_not_compared():
    record = Recording(np.empty(0), {"frequency_hz": FREQUENCY, "gain_db": -np.abs(np.log(FREQUENCY))})
    evaluation = evaluate(step({"quantity": "correlation", "min": 0.9}), [SWEEP, record], SETUP)
    assert evaluation.verdict == "not_valid"
    assert "hold a transfer and others an impedance" in found(evaluation, "correlation")[0].reason


def test_phases_are_compared_in_pairs_and_the_least_alike_is_judged():
    other = synthesise_sweep([SeriesBranch.tuned(300, 60, 6.37), *BRANCHES[1:]], seed=2, points=800)
    limit = {"quantity": "correlation", "min": 0.995}
    alike = evaluate(step(limit), [SWEEP, synthesise_sweep(BRANCHES, seed=5, points=700)], SETUP)
    unlike = evaluate(step(limit), [SWEEP, SWEEP, other], SETUP)
    assert (alike.verdict, unlike.verdict) == ("conforms", "does_not_conform")
    assert "record 3" in found(unlike, "correlation")[0].reason
    named = [replace(one, name=f"“{letter}.s1p”") for letter, one in zip("abc", (SWEEP, SWEEP, other), strict=True)]
    reason = found(evaluate(step(limit), named, SETUP), "correlation")[0].reason
    assert reason.startswith("“a.s1p” and “c.s1p” have a correlation")
    assert found(evaluate(step(order(4.7)), named, SETUP), "tuned_order")[0].reason.startswith("“c.s1p”: Branch 1 of ")


def test_a_comparison_says_where_the_traces_differ_most_and_how_alike_each_pair_is():
    """One branch 5 % higher: the traces are furthest apart at one of its two resonances, 282.5 and 296.6 Hz."""
    other = synthesise_sweep([SeriesBranch.tuned(296.6, 60, 6.37), *BRANCHES[1:]], seed=2, points=800, noise_db=0.05)
    evaluation = evaluate(step({"quantity": "log_error_db", "max": 0.1}), [SWEEP, SWEEP, other], SETUP)
    reason = found(evaluation, "log_error_db")[0].reason
    place = float(reason.split("differ at ")[1].split(" Hz")[0])
    assert min(abs(place - 282.5), abs(place - 296.6)) < 2
    pairs = next(remark for remark in evaluation.remarks if remark.startswith("Correlation and mean difference"))
    assert "record 1 and record 2 1.0" in pairs
    assert pairs.count(" dB") == 3


def test_each_branch_is_told_with_its_uncertainty():
    evaluation = evaluate(step(), [SWEEP], SETUP)
    said = next(remark for remark in evaluation.remarks if remark.startswith("Branches: "))
    assert said.count("quality factor") == 3
    assert said.count(" ± ") == 15
    alone = next(remark for remark in evaluate(step(), [SWEEP]).remarks if remark.startswith("Branches: "))
    assert alone.count(" ± ") == 6  # what hangs on the scale of an instrument that nobody names has none


def test_the_first_record_may_be_the_reference_and_is_not_judged():
    detuned = synthesise_sweep([SeriesBranch.tuned(330, 60, 6.37)], seed=2, points=800)
    tuned = synthesise_sweep(BRANCHES[:1], seed=2, points=800)
    assert evaluate(step(order(4.7)), [detuned, tuned], SETUP).verdict == "does_not_conform"
    assert evaluate(step(order(4.7), compare="reference"), [detuned, tuned], SETUP).verdict == "conforms"


def test_a_reference_may_stand_in_the_step():
    level = 20 * np.log10(np.abs(impedance_of(FREQUENCY, BRANCHES)))
    reference = {"frequency_hz": FREQUENCY.tolist(), "level_db": level.tolist()}
    limit = {"quantity": "log_error_db", "max": 0.2}
    evaluation = evaluate(step(limit, reference=reference), [SWEEP], SETUP)
    assert evaluation.verdict == "conforms"
    # The mean size of normal noise of 0.05 dB is 0.05 √(2/π) = 0.0399 dB; between two samples a line has less of it.
    assert 0.0399 / 2**0.5 < found(evaluation, "log_error_db")[0].value < 0.0399
    broken = {"frequency_hz": [1.0, 1.0], "level_db": [0.0, 0.0]}
    refused = evaluate(step(limit, reference=broken), [SWEEP], SETUP)
    assert refused.verdict == "not_valid"
    assert "not two rising frequencies" in found(refused, "log_error_db")[0].reason


def test_one_record_has_nothing_to_be_compared_with():
    evaluation = evaluate(step({"quantity": "correlation", "min": 0.9}), [SWEEP], SETUP)
    assert evaluation.verdict == "inconclusive"
    assert "nothing to compare with" in found(evaluation, "correlation")[0].reason


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (Recording(np.empty(0), {"frequency_hz": np.empty(0), "gain_db": np.empty(0)}), "The record has 0 samples"),
        (Recording(np.empty(0), {"frequency_hz": np.ones(1), "gain_db": np.ones(1)}), "The record has 1 sample;"),
        (altered(impedance_ohm=np.full(800, np.nan)), "is not a finite number"),
        (altered(phase_deg=np.full(800, np.inf)), "is not a finite number"),
        (altered(impedance_ohm=np.full(800, 5.0)), "All samples are 13.98 dB"),
        (altered(impedance_ohm=np.zeros(800)), "is not a value above 0"),
        (altered(impedance_ohm=np.geomspace(1, 1e200, 800)), "holds numbers that no instrument writes"),
        (altered(impedance_ohm=np.geomspace(1, 1e-200, 800)), "is not a value above 0"),
        (
            Recording(np.empty(0), {"frequency_hz": FREQUENCY, "gain_db": 1e9 * FREQUENCY}),
            "A value of 5e+12 at 5000 Hz is none that a sweep can have",
        ),
        (altered(frequency_hz=FREQUENCY[::-1]), "Frequency goes backwards"),
        (altered(frequency_hz=np.repeat(FREQUENCY[::2], 2)), "carries the same frequency"),
        (altered(frequency_hz=FREQUENCY - 50), "frequencies must be above 0"),
        (altered(impedance_ohm=np.maximum(SWEEP.channels["impedance_ohm"], 1.0)), "the sweep is clipped"),
        (
            Recording(
                np.empty(0), {"frequency_hz": FREQUENCY, "reflection_real": FREQUENCY, "reflection_imag": FREQUENCY}
            ),
            "reference impedance of the reflection is not known",
        ),
        (
            Recording(
                np.empty(0),
                {"frequency_hz": FREQUENCY, "reflection_real": np.ones(800), "reflection_imag": np.zeros(800)},
                {"reference_ohm": "50"},
            ),
            "nothing was connected",
        ),
    ],
)
def test_odd_sweeps_are_not_valid_and_say_why(record, words):
    evaluation = evaluate(step(order(4.7)), [record], SETUP)
    assert evaluation.verdict == "not_valid"
    assert words in evaluation.findings[0].reason
    json.dumps(evaluation.as_dict(), allow_nan=False)


def test_a_sweep_of_something_else_is_inconclusive():
    evaluation = evaluate(step(order(4.7)), [altered(phase_deg=-SWEEP.channels["phase_deg"])], SETUP)
    assert evaluation.verdict == "inconclusive"
    assert "not that of a few branches" in evaluation.findings[0].reason


def test_a_broad_hump_is_told_and_is_no_resonance():
    broad = synthesise_sweep([SeriesBranch.tuned(282.5, 1.2, 6.37)], seed=1, points=800, noise_db=0.01, noise_deg=0.1)
    evaluation = evaluate(step(order(4.7)), [broad], SETUP)
    assert evaluation.verdict == "inconclusive"
    assert "quality factor of 1.2" in evaluation.findings[0].reason
    assert evaluate(step(order(4.7), least_quality_factor=1.0), [broad], SETUP).verdict == "conforms"
