"""Runs laid over each other, patterns of pulses, and what is said of a value beside others."""

from __future__ import annotations

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from records.evaluation.impulse.synthesis import Disturbance, synthesise_impulse, wave_with_crest
from records.evaluation.slow_synthesis import Disturbance as Slow
from records.evaluation.slow_synthesis import Winding, synthesise_cooling
from records.evaluation.sweep.synthesis import SeriesBranch, synthesise_sweep
from records.evaluation.synthesis import synthesise_withstand
from records.evaluation.writing import csv_text
from records.models import Finding, Run
from records.models.procedure import stages_of
from records.selectors.comparison import beside_others, comparable_runs
from records.selectors.digests import current_evaluation
from records.services import checks, runs
from schedules.models import Step, Unit
from tests.integration.records import laboratory

pytestmark = pytest.mark.django_db


@pytest.fixture
def judged(prepared):
    """Return how to get a judged discharge run of one arrangement."""

    def run(place=1, content=None):
        way = prepared(place=place).open()
        way.upload(content or laboratory.conforming(seed=place))
        return way

    return run


def figure_address(run, *others):
    chosen = "&".join(f"with={other.pk}" for other in others)
    return f"{reverse('records:compare-figure', args=[run.pk])}?{chosen}"


def test_two_runs_of_a_unit_are_laid_over_each_other(client, judged):
    first, second = judged(1), judged(2)
    client.force_login(first.operator)
    page = client.get(reverse("records:review", args=[first.run.pk])).content.decode()
    assert reverse("records:compare", args=[first.run.pk]) in page
    page = client.get(reverse("records:compare", args=[first.run.pk])).content.decode()
    assert "Lay them on top of each other" in page
    assert second.run.number in page
    assert "data-chart-src" not in page
    page = client.get(reverse("records:compare", args=[first.run.pk]), {"with": second.run.pk}).content.decode()
    assert f"compare/figure/?with={second.run.pk}" in page
    assert "Apparent charge, measurement" in page
    figure = client.get(figure_address(first.run, second.run)).json()
    assert {trace["yaxis"] for trace in figure["data"]} == {"y", "y2"}
    names = {trace["name"] for trace in figure["data"]}
    assert names == {f"{run.number}, MS-2417" for run in (first.run, second.run)}
    detail = client.get(f"{figure_address(first.run, second.run)}&from=0&to=5").json()
    assert detail["layout"]["xaxis"]["range"] == [0.0, 5.0]


@pytest.mark.parametrize("query", ["", "with=0", "with=x", "with={own}"])
def test_what_cannot_be_chosen_is_refused_in_words(client, judged, query):
    first, _ = judged(1), judged(2)
    client.force_login(first.operator)
    asked = query.format(own=first.run.pk)
    assert client.get(f"{reverse('records:compare-figure', args=[first.run.pk])}?{asked}").status_code == 400
    if asked:
        answer = client.get(f"{reverse('records:compare', args=[first.run.pk])}?{asked}")
        assert answer.status_code == 422
        assert "This run cannot be laid over this one" in answer.content.decode()


def test_times_that_are_none_are_refused(client, judged):
    first, second = judged(1), judged(2)
    client.force_login(first.operator)
    for window in ("from=a&to=b", "from=5&to=1", "from=1", "from=nan&to=2"):
        assert client.get(f"{figure_address(first.run, second.run)}&{window}").status_code == 400


def test_without_another_run_the_page_says_what_sisters_are(client, judged):
    way = judged(1)
    client.force_login(way.operator)
    assert "Nothing to compare with yet" in client.get(reverse("records:compare", args=[way.run.pk])).content.decode()


def test_sisters_are_found_by_design_and_only_of_the_same_kind(judged, people, customer_company):
    way = judged(1)
    sister = laboratory.unit_with_plan(entered_by=people[0], company=customer_company, serial="MS-2418")
    other = laboratory.Way(laboratory.arrangement_of(sister, "partial_discharge"), *people)
    Run.objects.filter(pk=other.run.pk).update(state="approved")
    run = Run.objects.for_detail().get(pk=way.run.pk)
    assert list(comparable_runs(run, people[0])) == []  # not judged, and no design named
    source = current_evaluation(run)
    source.pk, source.run = None, other.run
    source.save()
    assert list(comparable_runs(run, people[0])) == []
    Unit.objects.update(design="K-27")
    run = Run.objects.for_detail().get(pk=way.run.pk)
    assert [one.pk for one in comparable_runs(run, people[0])] == [other.run.pk]


def test_a_customer_finds_no_comparison(client, judged, customer):
    first, second = judged(1), judged(2)
    client.force_login(customer)
    assert client.get(reverse("records:compare", args=[first.run.pk])).status_code in (403, 404)
    assert client.get(figure_address(first.run, second.run)).status_code in (403, 404)
    assert list(comparable_runs(first.now, customer)) == []


def test_the_queries_do_not_grow_with_the_runs(client, judged):
    judged_runs = [judged(place).run for place in (1, 2, 3)]
    client.force_login(judged_runs[0].operator)
    address = reverse("records:compare", args=[judged_runs[0].pk])
    client.get(address)
    with CaptureQueriesContext(connection) as two:
        client.get(address, {"with": [judged_runs[1].pk]})
    with CaptureQueriesContext(connection) as three:
        client.get(address, {"with": [run.pk for run in judged_runs[1:]]})
    assert len(two) == len(three)


def test_a_list_of_pulses_is_judged_and_its_pattern_drawn(client, judged):
    way = judged(1, laboratory.pulses())
    assert way.now.verdict == "conforms"
    client.force_login(way.operator)
    page = client.get(reverse("records:review", args=[way.run.pk])).content.decode()
    assert "Pulses by phase" in page
    assert "Pulse repetition rate" in page
    shown = client.get(reverse("records:pattern", args=[way.run.pk])).json()
    assert shown["data"][0]["name"] == "test voltage, 18.71 kV r.m.s."
    over_time = client.get(reverse("records:figure", args=[way.run.pk])).json()
    assert max(over_time["data"][0]["y"]) == pytest.approx(30.0, rel=0.01)  # r.m.s., not the crest of 42 kV
    assert max(over_time["data"][1]["y"]) == pytest.approx(250.0, rel=0.03)


def test_a_detectors_record_has_no_pattern(client, judged):
    way = judged(1)
    client.force_login(way.operator)
    assert client.get(reverse("records:pattern", args=[way.run.pk])).status_code == 404
    assert "Pulses by phase" not in client.get(reverse("records:review", args=[way.run.pk])).content.decode()


def test_counts_are_whole_and_what_has_no_limit_is_reported(client, judged):
    way = judged(1)
    client.force_login(way.operator)
    page = re.sub(r"\s+", " ", client.get(reverse("records:review", args=[way.run.pk])).content.decode())
    row = re.search(r"<th scope=\"row\">Disruptive discharges.*?</tr>", page)[0]
    assert '<td class="num">0</td>' in row
    row = re.search(r"<th scope=\"row\">Inception voltage.*?</tr>", page)[0]
    assert "<td>reported</td>" in row
    assert "Conforms" not in row


def test_a_value_unlike_its_sisters_is_told_to_the_approver(judged, people, customer_company):
    ways = [judged(place) for place in (1, 2, 3)]
    sister = laboratory.unit_with_plan(entered_by=people[0], company=customer_company, serial="MS-2418")
    Unit.objects.update(design="K-27")
    own = laboratory.Way(laboratory.arrangement_of(sister, "partial_discharge"), *people)
    Run.objects.exclude(pk=own.run.pk).update(state="approved")
    for nth, way in enumerate(ways):
        Finding.objects.filter(evaluation__run=way.run, quantity="extinction_voltage_kv").update(value=20.4 + nth / 10)
    evaluation = current_evaluation(ways[0].now)
    run = Run.objects.for_detail().get(pk=own.run.pk)
    odd = evaluation.findings.get(quantity="extinction_voltage_kv")
    evaluation.pk, evaluation.run = None, own.run
    evaluation.save()
    odd.pk, odd.evaluation, odd.value = None, evaluation, 12.0
    odd.save()
    (matter,) = beside_others(run, current_evaluation(Run.objects.for_detail().get(pk=own.run.pk)))
    assert matter.tone == "info"
    assert "Extinction voltage of 12.00 kV is unlike that of 3 runs of sister units" in matter.words
    assert "below their median of 20.50 kV" in matter.words


def test_the_drift_of_the_scale_factor_is_shown_at_the_calibration(client, prepared):
    first = prepared(place=1)
    client.force_login(first.operator)
    address = reverse("records:run", args=[first.run.pk])
    assert "a drift of" not in client.get(address, {"at": "calibration"}).content.decode()
    second = prepared(place=2)
    checks.record_charge_calibration(run=second.run, injected_pc=100, reading=93.0, by=second.operator)
    page = client.get(reverse("records:run", args=[second.run.pk]), {"at": "calibration"}).content.decode()
    # 100/97.5 = 1.026 before, 100/93 = 1.075 now: 97.5/93 − 1 = 4.8 %.
    assert f"In run {first.run.number}, the last with this measuring system, it was 1.026: a drift of +4.8 %." in page


@pytest.mark.parametrize(
    ("outcomes", "verdict"),
    [
        (["held"], "conforms"),
        ([], "inconclusive"),
        (["left_band"], "inconclusive"),
        (["held", "left_band"], "inconclusive"),
        (["discharge", "held"], "conforms"),
    ],
    ids=["held", "not marked", "left its band", "held, then corrected", "corrected to held"],
)
def test_a_coarse_record_counts_where_the_operator_marked_every_stage_as_held(prepared, outcomes, verdict):
    way = prepared("power_frequency_withstand").open()
    (stage,) = stages_of(way.run.step.document)
    for outcome in outcomes:
        runs.mark_stage(run=way.run, stage=stage.name, outcome=outcome, by=way.operator)
    way.upload(csv_text(synthesise_withstand(laboratory.WITHSTAND, seed=4, interval_s=2.5)))
    assert way.now.verdict == verdict
    found = current_evaluation(way.now).findings.get(quantity="disruptive_discharges")
    assert found.verdict == verdict
    assert "2.5 s apart" in found.reason


def test_kinds_that_have_no_time_axis_are_compared_by_their_findings(client, judged):
    first, second = judged(1), judged(2)
    Step.objects.update(kind="capacitance")
    client.force_login(first.operator)
    page = client.get(reverse("records:compare", args=[first.run.pk]), {"with": second.run.pk}).content.decode()
    assert "Findings side by side" in page
    assert "data-chart-src" not in page
    assert '<th scope="row">Apparent charge, measurement</th>' in page


SWEEP = {"criteria": [{"quantity": "tuned_order", "nominal": 4.7, "tolerance_pct": 2, "judges": "unit"}]}


def sweep_text(resonance_hz, seed):
    return csv_text(synthesise_sweep([SeriesBranch.tuned(resonance_hz, 60, 6.37)], seed=seed, points=400))


def performed(unit, people, kind, procedure, quantity, content):
    """Return a judged run of a step of its own, with an instrument of its own."""
    instrument = laboratory.system(quantity, f"I-{Run.objects.count()}", entered_by=people[0])
    way = laboratory.open_step(unit, people, kind, procedure, [instrument])
    way.upload(content)
    return way


def over(client, first, second):
    client.force_login(first.operator)
    page = client.get(reverse("records:compare", args=[first.run.pk]), {"with": second.run.pk}).content.decode()
    return page, client.get(figure_address(first.run, second.run)).json()


def test_two_sweeps_lie_over_each_other_with_how_alike_they_are(client, unit, people):
    first, second = (
        performed(unit, people, "frequency_response", {"frequency_hz": 60, **SWEEP}, "impedance", sweep_text(hz, seed))
        for hz, seed in ((282, 1), (280, 2))
    )
    page, figure = over(client, first, second)
    assert "Lay them on top of each other" in page
    for words in ("Correlation of the traces", "Mean difference of the traces", "on one axis of frequency"):
        assert words in page
    # 20 lg of the magnitudes: the traces differ by 1 in 140 in frequency, so their correlation is near 1
    correlation = re.search(r"Correlation of the traces</th>\s*<td class=\"num\">([\d.]+)</td>", page)
    assert 0.98 < float(correlation[1]) < 1
    # DL/T 911 counts from 1 kHz; this sweep ends before 100 kHz, so that no band is whole
    assert "DL/T 911" not in page
    upper = [trace for trace in figure["data"] if trace["yaxis"] == "y"]
    assert [trace["name"] for trace in upper] == [f"{way.run.number}, MS-2417" for way in (first, second)]
    lows = [trace["x"][trace["y"].index(min(trace["y"]))] for trace in upper]
    assert lows == [pytest.approx(282, rel=0.02), pytest.approx(280, rel=0.02)]
    assert {trace["line"]["dash"] for trace in upper if "dash" in trace["line"]} == {"dash"}
    assert client.get(f"{figure_address(first.run, second.run)}&from=9&to=1").status_code == 400


def test_two_impulses_lie_over_each_other_relative_to_their_test_voltage(client, unit, people):
    stage = {"name": "full", "voltage_kv": 125, "tolerance_pct": 3}
    noise = Disturbance(noise=0.001, bits=12)
    first, second = (
        performed(
            unit,
            people,
            "lightning_impulse",
            {"stages": [stage]},
            "impulse",
            csv_text(synthesise_impulse(wave_with_crest(kv), seed=1, interval_us=0.02, disturbance=noise)),
        )
        for kv in (125, -124)
    )
    page, figure = over(client, first, second)
    assert "which begins at each one&#x27;s virtual origin" in page
    shares = [trace for trace in figure["data"] if trace["yaxis"] == "y2"]
    assert figure["layout"]["yaxis2"]["title"]["text"] == "Share of Ut (%)"
    assert [max(trace["y"]) for trace in shares] == [pytest.approx(100, abs=2)] * 2


def test_two_cooling_curves_lie_over_each_other(client, unit, people):
    first, second = (
        performed(
            unit,
            people,
            "temperature_rise",
            {"material": "copper", "shutdown_s": 0},
            "resistance",
            csv_text(synthesise_cooling(Winding(hot_ohm=hot), Slow(noise=2e-5, step=1e-5), ambient_c=25.0)),
        )
        for hot in (0.55, 0.56)
    )
    page, figure = over(client, first, second)
    assert "which begins at shutdown" in page
    first_readings = [trace["y"][0] for trace in figure["data"]]
    # both cool alike from 0.55 and 0.56 Ω; each reading is rounded to 10 µΩ with noise of 20 µΩ
    assert first_readings[1] - first_readings[0] == pytest.approx(0.01, abs=2e-4)
    assert figure["layout"]["yaxis"]["title"]["text"] == "Resistance (Ω)"


def test_the_pulses_of_two_runs_lie_over_each_other_by_phase(client, judged):
    first, second = judged(1, laboratory.pulses()), judged(2, laboratory.pulses(seed=6))
    client.force_login(first.operator)
    page = client.get(reverse("records:compare", args=[first.run.pk]), {"with": second.run.pk}).content.decode()
    assert "Over it the greatest charge at each phase of" in page
    address = reverse("records:compare-pattern", args=[first.run.pk])
    figure = client.get(address, {"with": second.run.pk}).json()
    outline = figure["data"][-1]
    assert outline["name"] == f"{second.run.number}, MS-2417"
    charges = [one for one in outline["y"] if one is not None]
    low, high = figure["layout"]["yaxis"]["range"]
    # the trains are of 3 and 250 pC with either sign; the scale factor of the set-up is 100/97.5
    assert low <= min(charges) < 0 < max(charges) <= high
    third = judged(3)
    assert client.get(address, {"with": third.run.pk}).status_code == 404


def test_a_filter_tuned_unlike_its_sisters_passes_and_is_told(unit, people, customer_company):
    step = ("frequency_response", {"frequency_hz": 60, **SWEEP}, "impedance")
    for nth, hz in enumerate((282.0, 282.2, 281.9, 282.1)):
        sister = laboratory.unit_with_plan(entered_by=people[0], company=customer_company, serial=f"F-{nth}")
        way = performed(sister, people, *step, sweep_text(hz, nth))
        Run.objects.filter(pk=way.run.pk).update(state=Run.State.APPROVED)
    way = performed(unit, people, *step, sweep_text(278.5, 9))
    Unit.objects.update(design="F-7")
    run = Run.objects.for_detail().get(pk=way.run.pk)
    words = [matter.words for matter in beside_others(run, current_evaluation(run))]
    assert run.verdict == "conforms"
    assert any(one.startswith("Passed, but unlike its sisters: Tuned order") for one in words), words
