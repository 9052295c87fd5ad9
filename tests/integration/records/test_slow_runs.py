"""Runs of resistance, capacitance, insulation and heating: from the record to findings, picture and page."""

from __future__ import annotations

import io

import numpy as np
import pytest
from django.urls import reverse

from labsite.jobs.services import run_waiting
from records.charts import curve_of, svg_of
from records.evaluation.slow_synthesis import (
    Disturbance,
    Winding,
    synthesise_absorption,
    synthesise_cooling,
    synthesise_table,
)
from records.evaluation.writing import csv_text
from records.models import Evaluation, Finding, Record, Run
from records.readers.recording import Recording
from records.selectors.comparison import beside_others
from records.selectors.digests import current_evaluation, setup_document
from records.selectors.earlier import lacking_before
from records.services import uploads
from records.services.recomputing import recompute_findings
from records.services.refusals import GateClosed
from records.services.stated import state_values
from schedules.models import Arrangement, Step, Unit
from tests.integration.records import laboratory

pytestmark = pytest.mark.django_db
KINDS = ("winding_resistance", "capacitance", "insulation_resistance", "temperature_rise")
RISE = {"material": "copper", "shutdown_s": 0, "criteria": [{"quantity": "temperature_rise_k", "max": 80}]}
WINDING = {"material": "copper", "reference_temperature_c": 75}
NOISE = Disturbance(noise=2e-5, step=1e-5)


@pytest.fixture
def systems(tester):
    """Return the measuring systems of these tests."""
    return [laboratory.system(quantity, f"S-{quantity}", entered_by=tester) for quantity in ("resistance", "impedance")]


@pytest.fixture
def judged(unit, people, systems):
    """Return how to perform a step with a procedure and a record, to its evaluation."""
    laboratory.authorise(people[0], *KINDS)
    laboratory.authorise(people[2], *KINDS, activity="approve")

    def performed(kind, procedure, recording, *, of=unit, state=Run.State.JUDGED, using=systems):
        plan = of.plans.get(is_current=True)
        document = {"kind": kind, "title": kind, "procedure": {"criteria": [], **procedure}}
        step = Step.objects.create(plan=plan, position=plan.steps.count() + 1, kind=kind, title=kind, document=document)
        arrangement = Arrangement.objects.create(step=step, position=1, name="phase A")
        way = laboratory.Way(arrangement, *people).prepare(*using).open()
        uploads.store_record(
            run=way.run, stream=io.BytesIO(csv_text(recording).encode()), given_name="record.csv", by=people[0]
        )
        run_waiting()
        Run.objects.filter(pk=way.run.pk).update(state=state)
        return way

    return performed


def values_now(way):
    return {row.quantity: row for row in current_evaluation(way.now).findings.all()}


def values(way):
    return {row.quantity: row for row in Finding.objects.filter(evaluation__run=way.run)}


def test_a_table_without_time_is_judged_at_the_temperature_of_the_bay(judged, client):
    # the record has no temperature: the bay's 21.4 °C counts; 0.421 Ω · (235 + 75)/(235 + 21.4) = 0.509009 Ω
    way = judged("winding_resistance", WINDING, synthesise_table({"resistance_ohm": 0.421, "current_a": 10.0}))
    found = values(way)["resistance_at_reference_ohm"]
    assert found.value == pytest.approx(0.421 * 310 / 256.4)
    # 1.5 % at k = 2 of the system
    assert found.expanded_uncertainty == pytest.approx(0.015 * found.value, rel=1e-3)
    assert Record.objects.get().summary["channels"] == ["resistance_ohm", "current_a"]
    client.force_login(way.operator)
    page = client.get(reverse("records:review", args=[way.run.pk]))
    assert page.status_code == 200
    assert b"What the record shows" not in page.content
    assert client.get(reverse("records:figure", args=[way.run.pk])).status_code == 404
    assert client.get(reverse("records:run", args=[way.run.pk])).status_code == 200
    assert recompute_findings().is_same


def test_a_coverage_factor_of_few_readings_is_shown_beside_its_uncertainty(judged, client):
    readings = Recording(np.empty(0), {"resistance_ohm": np.array([0.40, 0.44]), "current_a": np.array([10.0, 10.0])})
    way = judged("winding_resistance", {}, readings)
    # s/√2 = 0.02 Ω with ν = 1, the system's u = 0.75 % of 0.42 Ω = 0.00315 Ω: ν_eff = (0.02² + 0.00315²)²/0.02⁴ = 1.05,
    # truncated to 1: k = 13.97 for 95.45 % (GUM, table G.2)
    assert values(way)["resistance_ohm"].coverage_factor == pytest.approx(13.97)
    client.force_login(way.operator)
    page = client.get(reverse("records:review", args=[way.run.pk])).content.decode()
    assert "k = 13.97" in page


def test_an_instrument_that_measures_the_quantity_is_asked_for(judged, voltage_system):
    record = synthesise_table({"resistance_ohm": 0.421, "current_a": 10.0})
    with pytest.raises(GateClosed, match="No instrument that measures the resistance is listed"):
        judged("winding_resistance", WINDING, record, using=[voltage_system])


def test_the_capacitance_before_the_tests_comes_from_the_earlier_run(judged):
    before = judged(
        "capacitance", {}, synthesise_table({"voltage_kv": 1.0, "capacitance_uf": 10.0}), state=Run.State.APPROVED
    )
    changed = synthesise_table({"voltage_kv": 1.0, "capacitance_uf": 11.0})
    after = judged("capacitance", {"series_elements": 11}, changed)
    assert "capacitance_change_pct" not in values(before)
    assert setup_document(after.now)["capacitance_before_uf"] == pytest.approx(10.0)
    change = values(after)["capacitance_change_pct"]
    assert (change.value, change.verdict) == (pytest.approx(10.0), "does_not_conform")


CHANGE = {
    "criteria": [{"quantity": "capacitance_change_pct", "max": 2, "judges": "unit"}],
    "compared_with": {"position": 3, "title": "capacitance", "procedure": "before"},
}


def test_the_plan_says_which_run_lends_the_capacitance_before(judged):
    """The capacitance of another step, though newer, is not the one that the plan names."""

    def read(value, procedure, **more):
        return judged("capacitance", procedure, synthesise_table({"voltage_kv": 1.0, "capacitance_uf": value}), **more)

    read(10.0, {"name": "before"}, state=Run.State.APPROVED)
    read(10.4, {"name": "of_another_part"}, state=Run.State.APPROVED)
    after = read(10.1, {"name": "after", **CHANGE})
    assert setup_document(after.now)["capacitance_before_uf"] == pytest.approx(10.0)
    change = values(after)["capacitance_change_pct"]
    assert (change.value, change.verdict) == (pytest.approx(1.0), "conforms")
    assert recompute_findings().is_same


@pytest.mark.parametrize("state", [Run.State.JUDGED, Run.State.SIGNED, Run.State.ABANDONED])
def test_a_step_that_is_compared_waits_for_the_run_before(judged, state):
    record = synthesise_table({"voltage_kv": 1.0, "capacitance_uf": 10.0})
    judged("capacitance", {"name": "before"}, record, state=state)
    with pytest.raises(GateClosed, match=r"No run of “capacitance” .* stands yet; .* Have it made and approved first"):
        judged("capacitance", {"name": "after", **CHANGE}, record)


def test_a_step_that_is_compared_is_made_with_the_value_that_a_person_states(judged):
    def read(value, procedure, **more):
        return judged("capacitance", procedure, synthesise_table({"voltage_kv": 1.0, "capacitance_uf": value}), **more)

    read(10.0, {"name": "before"}, state=Run.State.APPROVED)
    after = read(10.1, {"name": "after", **CHANGE})
    state_values(run=after.run, values={"capacitance_before_uf": 10.05}, by=after.operator)
    assert lacking_before(after.now) == ""  # the run that the plan names stands, though it lends nothing now
    run_waiting()
    assert values_now(after)["capacitance_change_pct"].value == pytest.approx(100 * 0.05 / 10.05)


def test_a_run_that_was_no_valid_test_lends_nothing(judged):
    record = synthesise_table({"voltage_kv": 1.0, "capacitance_uf": 10.0})
    before = judged("capacitance", {"name": "before"}, record, state=Run.State.APPROVED)
    Run.objects.filter(pk=before.run.pk).update(verdict="not_valid")
    with pytest.raises(GateClosed, match="stands yet"):
        judged("capacitance", {"name": "after", **CHANGE}, record)


def test_a_rise_is_reckoned_from_the_earlier_resistance_and_drawn_back_to_shutdown(judged, client):
    judged(
        "winding_resistance",
        WINDING,
        synthesise_table({"resistance_ohm": 0.421, "temperature_c": 22.5}),
        state=Run.State.APPROVED,
    )
    way = judged("temperature_rise", RISE, synthesise_cooling(Winding(), NOISE, ambient_c=25.0))
    rise = values(way)["temperature_rise_k"]
    # cold 0.421 Ω at 22.5 °C, known at 75 °C from the earlier run: the same rise as by hand, 75.178 K
    assert rise.value == pytest.approx(75.178, abs=0.1)
    evaluation = Evaluation.objects.get(run=way.run)
    assert curve_of(evaluation).points[0]["x"] == 0.0
    assert "at shutdown" in svg_of(evaluation)
    client.force_login(way.operator)
    figure = client.get(reverse("records:figure", args=[way.run.pk])).json()
    assert figure["layout"]["yaxis"]["title"]["text"] == "Resistance (Ω)"
    page = client.get(reverse("records:review", args=[way.run.pk])).content.decode()
    assert "readings of resistance over 1800 s after shutdown" in page
    assert "Models of the cooling compared" in page
    assert recompute_findings().is_same


def test_an_insulation_is_drawn_with_its_two_values(judged, client):
    way = judged("insulation_resistance", {}, synthesise_absorption(1500, 2.5, Disturbance(noise=0.005)))
    client.force_login(way.operator)
    figure = client.get(reverse("records:figure", args=[way.run.pk])).json()
    assert [note["text"][:6] for note in figure["layout"]["annotations"]] == ["1 min ", "10 min"]
    assert set(values(way)) == {
        "insulation_resistance_mohm",
        "insulation_resistance_10min_mohm",
        "polarization_index",
    }


def test_a_resistance_unlike_its_sisters_passes_and_is_told(judged, people, customer_company):
    for nth, ohm in enumerate((0.4200, 0.4202, 0.4198, 0.4201)):
        sister = laboratory.unit_with_plan(entered_by=people[0], company=customer_company, serial=f"S-{nth}")
        record = synthesise_table({"resistance_ohm": ohm, "temperature_c": 22.5})
        judged("winding_resistance", WINDING, record, of=sister, state=Run.State.APPROVED)
    odd = judged("winding_resistance", WINDING, synthesise_table({"resistance_ohm": 0.470, "temperature_c": 22.5}))
    Unit.objects.update(design="R-1")
    run = Run.objects.for_detail().get(pk=odd.run.pk)
    (matter,) = beside_others(run, current_evaluation(run))
    assert (matter.tone, run.verdict) == ("info", "conforms")
    assert matter.words.startswith("Passed, but unlike its sisters: ")
    assert "unlike that of 4 runs of sister units: it lies far above their median" in matter.words
    like = judged("winding_resistance", WINDING, synthesise_table({"resistance_ohm": 0.4203, "temperature_c": 22.5}))
    run = Run.objects.for_detail().get(pk=like.run.pk)
    assert [one for one in beside_others(run, current_evaluation(run)) if "unlike" in one.words] == []
