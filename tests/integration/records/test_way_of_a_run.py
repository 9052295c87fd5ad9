"""A run from set-up to approval: conforming, failing with its retest, not valid with its repeat."""

from __future__ import annotations

import pytest

from labsite.ledger.models import Entry
from labsite.ledger.selectors import verify_chain
from records.models import Nonconformance, Run
from records.services.nonconformances import decide_nonconformance
from records.services.refusals import Refused
from tests.integration.records import laboratory

pytestmark = pytest.mark.django_db


def test_a_quiet_unit_conforms_and_its_run_is_approved(prepared):
    way = prepared().open()
    upload = way.upload(laboratory.conforming())
    assert upload.is_new
    assert (way.now.state, way.now.verdict) == ("judged", "conforms")
    way.sign().approve()
    run = way.now
    assert (run.state, run.verdict) == ("approved", "conforms")
    assert [sign.capacity for sign in run.sign_offs.all()] == ["tester", "approver"]
    assert list(Run.objects.standing()) == [run]
    assert verify_chain().is_sound
    deeds = list(Entry.objects.filter(subject_type="records.run").values_list("action", flat=True))
    assert deeds[0] == "run.start"
    assert deeds[-1] == "run.approve"


def test_findings_keep_value_uncertainty_limit_and_words(prepared):
    way = prepared().open()
    way.upload(laboratory.conforming())
    evaluation = way.now.evaluations.get()
    charge = evaluation.findings.get(quantity="apparent_charge_pc")
    # Noise of 2 to 4 pC in the record, times the scale factor 100 / 97.5.
    assert charge.value == pytest.approx(4.0 * 100 / 97.5, rel=0.02)
    assert (charge.maximum, charge.judges, charge.verdict) == (100.0, "unit", "conforms")
    assert charge.expanded_uncertainty > 0
    held = evaluation.findings.get(quantity="held_s", stage="prestress")
    assert held.value == pytest.approx(62.0, abs=1.5)
    assert len(evaluation.digest) == 64


def test_a_loud_unit_opens_a_nonconformance_that_the_retest_closes(prepared, people):
    first = prepared().open()
    first.upload(laboratory.failing())
    assert first.now.verdict == "does_not_conform"
    first.sign().approve()
    opened = Nonconformance.objects.get()
    assert opened.run == first.run
    arrangement = first.run.arrangement
    with pytest.raises(Refused, match="Decide its nonconformance as repair and retest"):
        laboratory.Way(arrangement, *people)
    decide_nonconformance(
        nonconformance=opened, disposition="retest", reason="Bushing cleaned (invented).", by=people[2]
    )
    again = laboratory.Way(arrangement, *people)
    assert again.run.repeats == first.run
    assert "Bushing cleaned" in again.run.repeat_reason
    systems = [use.system for use in first.now.instruments.all()]
    again.prepare(*systems).open().upload(laboratory.conforming())
    again.sign().approve()
    opened.refresh_from_db()
    assert opened.closed_by_run == again.run
    assert first.now.verdict == "does_not_conform"
    with pytest.raises(Refused, match="nothing to repeat"):
        laboratory.Way(arrangement, *people)


def test_a_short_hold_is_no_valid_test_and_says_nothing_of_the_unit(prepared, people):
    way = prepared().open()
    way.upload(laboratory.too_short())
    assert way.now.verdict == "not_valid"
    way.sign().approve()
    assert not Nonconformance.objects.exists()
    assert not Run.objects.standing().exists()
    again = laboratory.Way(way.run.arrangement, *people)
    assert again.run.repeats == way.run
    assert again.run.repeat_reason == f"Run {way.run.number} says nothing about the unit (not a valid test)."


def test_a_withstand_that_held_conforms(prepared):
    way = prepared("power_frequency_withstand").open()
    way.upload(laboratory.withstood())
    assert way.now.verdict == "conforms"
