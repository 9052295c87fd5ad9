"""Impulses of a run count together, in whatever order they are judged; sweeps do not; both have their pictures."""

from __future__ import annotations

import pytest
from django.urls import reverse

from labsite.jobs.services import enqueue, run_waiting
from records.certificates.pictures import pictures_of
from records.charts import described, figure_of, svg_of
from records.evaluation.impulse.synthesis import Disturbance, synthesise_impulse, wave_with_crest
from records.evaluation.sweep.synthesis import SeriesBranch, synthesise_sweep
from records.evaluation.writing import csv_text
from records.models import Record
from records.selectors.digests import current_evaluation
from records.services.recomputing import recompute_findings
from records.services.rejudging import JOB
from schedules.models import Step
from tests.integration.records import laboratory

pytestmark = pytest.mark.django_db
FULL = {"voltage_kv": 125, "tolerance_pct": 3}
IMPULSES = {
    "kind": "lightning_impulse",
    "title": "Lightning impulse",
    "procedure": {
        "stages": [
            {"name": "full_positive", "polarity": "positive", **FULL},
            {"name": "full_negative", "polarity": "negative", **FULL},
        ],
        "criteria": [{"quantity": "front_time_us", "min": 0.84, "max": 1.56, "judges": "test"}],
    },
}
SWEEP = {
    "kind": "frequency_response",
    "title": "Tuning",
    "procedure": {
        "frequency_hz": 60,
        "criteria": [{"quantity": "tuned_order", "nominal": 4.7, "tolerance_pct": 2, "judges": "unit"}],
    },
}


@pytest.fixture
def way_of(people, unit):
    """Return a function that opens a run of a step with a document of its own."""

    def begin(document):
        arrangement = laboratory.arrangement_of(unit, "power_frequency_withstand")
        Step.objects.filter(pk=arrangement.step_id).update(kind=document["kind"], document=document)
        for person in people:
            laboratory.authorise(person, document["kind"])
        quantity = "impedance" if document is SWEEP else "impulse"
        voltage = laboratory.system(quantity, f"WAVE-{document['kind'][:5]}", entered_by=people[0])
        return laboratory.Way(laboratory.arrangement_of(unit, document["kind"]), *people).prepare(voltage).open()

    return begin


def impulse(crest_kv, seed, **options):
    noise = Disturbance(noise=0.003, bits=12)
    record = synthesise_impulse(wave_with_crest(crest_kv), seed=seed, interval_us=0.02, disturbance=noise, **options)
    return csv_text(record)


def test_each_upload_is_judged_with_those_before_it(way_of):
    way = way_of(IMPULSES)
    way.upload(impulse(125, 1), "positive.csv")
    assert (way.now.state, way.now.verdict) == ("judged", "not_valid")
    way.upload(impulse(-125, 2), "negative.csv")
    assert (way.now.state, way.now.verdict) == ("judged", "conforms")
    evaluation = current_evaluation(way.now)
    assert [row["stage"] for row in evaluation.document["details"]["impulses"]] == ["full_positive", "full_negative"]
    assert evaluation.document["recording"]["rows"] == 10_000
    assert evaluation.record_digest not in Record.objects.values_list("sha256", flat=True)
    again = recompute_findings()
    assert (again.evaluations, again.differences) == (2, ())


def test_a_discharge_is_not_overlooked_whichever_record_is_judged_last(way_of):
    way = way_of(IMPULSES)
    way.upload(impulse(125, 1, chopped_after_us=6.0), "collapsed.csv")
    first = Record.objects.get()
    assert way.now.verdict == "does_not_conform"
    way.upload(impulse(-125, 2), "negative.csv")
    assert way.now.verdict == "does_not_conform"
    # The first is judged once more, after the second: what counts still holds both.
    Record.objects.filter(pk=first.pk).update(state=Record.State.STORED)
    enqueue(name=JOB, args={"record_id": first.pk}, key="once more", by=first.uploaded_by)
    run_waiting()
    assert way.now.verdict == "does_not_conform"
    counts = current_evaluation(way.now)
    assert (counts.record.given_name, len(counts.document["details"]["impulses"])) == ("negative.csv", 2)


def test_an_impulse_has_its_picture_in_browser_and_print(way_of):
    way = way_of(IMPULSES)
    way.upload(impulse(125, 1), "positive.csv")
    way.upload(impulse(-125, 2), "negative.csv")
    evaluation = current_evaluation(way.now)
    shown = figure_of(evaluation)
    assert [trace["name"] for trace in shown["data"][:3]] == ["recorded", "base curve", "test-voltage curve"]
    assert min(shown["data"][0]["y"]) == pytest.approx(-125, rel=0.02)  # the newest record, of negative polarity
    assert svg_of(evaluation).startswith("<svg")
    assert described(evaluation).startswith("Impulse of negative polarity, test voltage 125")
    assert len(figure_of(evaluation, "4.0", "6.0")["data"][0]["x"]) == pytest.approx(102, abs=2)


def test_each_impulse_of_a_run_can_be_looked_at(way_of, client):
    way = way_of(IMPULSES)
    first = way.upload(impulse(125, 1), "positive.csv").record
    way.upload(impulse(-125, 2), "negative.csv")
    client.force_login(way.operator)
    page = client.get(reverse("records:review", args=[way.run.pk])).content.decode()
    assert f'<a href="?picture={first.pk}">1 positive.csv</a>' in page
    assert '<strong aria-current="true">2 negative.csv</strong>' in page
    page = client.get(reverse("records:review", args=[way.run.pk]), {"picture": first.pk}).content.decode()
    assert "Impulse of positive polarity, test voltage 125" in page
    figure = client.get(reverse("records:figure", args=[way.run.pk]), {"picture": first.pk}).json()
    assert max(figure["data"][0]["y"]) == pytest.approx(125, rel=0.02)
    drawn = pictures_of({"runs": [{"number": "R-1", "evaluation": {"id": current_evaluation(way.now).pk}}]})
    assert sorted(drawn) == ["R-1/1", "R-1/2"]


def test_a_sweep_is_judged_and_drawn_and_the_last_one_counts(way_of):
    way = way_of(SWEEP)
    way.upload(csv_text(synthesise_sweep([SeriesBranch.tuned(330, 60, 6.37)], seed=1, points=400)), "first.csv")
    assert way.now.verdict == "does_not_conform"
    way.upload(csv_text(synthesise_sweep([SeriesBranch.tuned(282, 60, 6.37)], seed=1, points=400)), "second.csv")
    assert way.now.verdict == "conforms"
    evaluation = current_evaluation(way.now)
    assert evaluation.document["recording"]["rows"] == 400
    shown = figure_of(evaluation)
    assert shown["layout"]["xaxis"]["type"] == "log"
    assert "series resonances at 282 Hz" in described(evaluation)
    assert "Impedance (Ω)" in svg_of(evaluation)
