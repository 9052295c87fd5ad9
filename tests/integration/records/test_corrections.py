"""Corrections of an instrument that a run lists on its own, from the calibration to the finding and back."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from equipment.models import Calibration, Instrument
from equipment.services import Circumstances, Point, decide_corrections, enter_calibration
from labsite.ledger.canonical import plain
from records.certificates.document import _instruments, _run
from records.evaluation.synthesis import Hold, synthesise_withstand
from records.evaluation.writing import csv_text
from records.models import Evaluation, RunInstrument
from records.selectors.digests import run_digest, setup_document
from records.selectors.gates import missing_before_energising
from records.services import instruments
from records.services.recomputing import recompute_findings
from records.services.refusals import GateClosed
from schedules.models import Step
from tests.integration.records import laboratory

pytestmark = pytest.mark.django_db
LOW = csv_text(synthesise_withstand([Hold(59.2, 63.0)], seed=4))  # asked are 59.4 to 60.6 kV


def divider(by: Any, *, use: str = "applied", ends: tuple[float, float] = (10.0, 100.0), name: str = "HVD-1") -> Any:
    """Return a divider that reads one per cent too little: c = 0.01 of the reading, U = 0.2 kV."""
    made = Instrument.objects.create(identifier=name, description="Divider (invented)", serial=name, quantity="voltage")
    enter_calibration(
        instrument=made, laboratory="Tarn Metrology (invented)", certificate_number=f"K-{name}",
        calibrated_on=timezone.localdate() - timedelta(days=30), relative_uncertainty_pct=1.0,
        points=[Point("as_left", "kV", 1.01 * reading, reading, 0.2) for reading in ends],
        circumstances=Circumstances(correction_use=use), by=by,
    )  # fmt: skip
    return made


@pytest.fixture
def way(start, quality_manager):
    """Return how to prepare a withstand run with dividers that are used on their own."""

    def made(*dividers):
        begun = start("power_frequency_withstand")
        for one in dividers:
            instruments.use_instrument(run=begun.run, instrument=one, by=begun.operator)
        return begun.prepare()

    return made


def held():
    evaluation = Evaluation.objects.order_by("pk").last()
    return evaluation, next(row for row in evaluation.findings.all() if row.quantity == "held_voltage_kv")


def test_a_reading_is_corrected_and_the_finding_says_so(way, quality_manager, client, approver):
    """59.2 kV are too low; + 0.592 kV they are 59.792 kV, and conform."""
    begun = way(divider(quality_manager)).open()
    begun.upload(LOW)
    evaluation, finding = held()
    assert (evaluation.verdict, begun.now.verdict) == ("conforms", "conforms")
    assert finding.value == pytest.approx(59.792, abs=0.01)
    assert finding.expanded_uncertainty == pytest.approx(0.2, abs=0.001)
    assert "the correction +0.592 kV by certificate K-HVD-1." in finding.reason
    assert evaluation.setup["instruments"][0]["corrections"][0]["certificate"] == "K-HVD-1"
    client.force_login(approver)
    sheet = client.get(f"{reverse('records:run', args=[begun.run.pk])}?at=instruments").content.decode()
    assert "Corrected by K-HVD-1: +0.1 to +1 kV from 10 to 100 kV." in sheet


def test_the_certificate_says_reading_correction_and_certificate(way, quality_manager):
    begun = way(divider(quality_manager)).open()
    begun.upload(LOW)
    document = plain({"runs": [_run(begun.now)], "instruments": _instruments([begun.now])})
    results = render_to_string("certificates/parts/run.html", {"run": document["runs"][0], "pictures": {}})
    assert (
        "Voltage held, withstand: The reading was 59.20 kV, the correction +0.592 kV by certificate K-HVD-1." in results
    )
    listed = render_to_string("certificates/parts/instruments.html", {"document": document})
    assert "Corrected by K-HVD-1: +0.1 to +1 kV from 10 to 100 kV." in listed


def test_without_a_decision_nothing_is_corrected_and_the_sheet_says_so(way, quality_manager):
    begun = way(divider(quality_manager, use="not_decided")).open()
    begun.upload(LOW)
    evaluation, finding = held()
    assert (evaluation.verdict, finding.value) == ("not_valid", pytest.approx(59.2, abs=0.01))
    use = RunInstrument.objects.get()
    assert use.correction_words == "What the corrections of K-HVD-1 are for is not decided; they are not applied."
    assert "corrections" not in evaluation.setup["instruments"][0]


def test_a_component_of_a_system_is_not_corrected_again(start, quality_manager, tester):
    one = divider(quality_manager)
    system = laboratory.system("voltage", "V-2", entered_by=tester)
    system.components.create(instrument=one)
    begun = start("power_frequency_withstand").prepare(system).open()
    begun.upload(LOW)
    evaluation, finding = held()
    assert (evaluation.verdict, finding.value) == ("not_valid", pytest.approx(59.2, abs=0.01))
    assert [row["name"] for row in evaluation.setup["instruments"]] == [system.name]
    assert {use.correction_words for use in RunInstrument.objects.all()} == {f"In the scale factor of {system.name}."}


def test_a_set_point_outside_the_calibrated_range_keeps_the_stages_closed(way, quality_manager):
    begun = way(divider(quality_manager, ends=(10.0, 50.0)))
    with pytest.raises(GateClosed) as closed:
        begun.open()
    assert closed.value.missing == (
        "HVD-1 is not in calibration today: 60 kV lies outside the calibrated range, 10 to 50 kV; what is measured "
        "there could not be judged. Use another, or ask the quality manager to override with a reason.",
    )
    use = RunInstrument.objects.get()
    instruments.override_calibration(run_instrument=use, reason="The customer accepts it", by=quality_manager)
    begun.open().upload(LOW)
    evaluation, finding = held()
    assert evaluation.verdict == "inconclusive"
    assert "59.2" in finding.reason
    assert "lies outside the calibrated range of HVD-1, 10 to 50 kV" in finding.reason


def test_two_that_would_correct_one_channel_are_refused_before_voltage(way, quality_manager):
    begun = way(divider(quality_manager), divider(quality_manager, name="HVD-2"))
    with pytest.raises(GateClosed) as closed:
        begun.open()
    assert closed.value.missing == (
        "HVD-1 and HVD-2 would both correct the voltage; nobody says which of them read it: use them as a measuring "
        "system, or take one out.",
    )


def test_later_calibrations_and_decisions_do_not_reach_back(way, quality_manager):
    """A run stays as it was signed and recomputed, whatever becomes of its instrument and its set-up afterwards."""
    undecided = divider(quality_manager, use="not_decided", name="HVD-7")
    begun = way(undecided).open()
    begun.upload(csv_text(synthesise_withstand([Hold(60.0, 63.0)], seed=4)))
    digest = run_digest(begun.now)
    calibration = undecided.calibrations.get()
    decide_corrections(calibration=calibration, use="applied", reason="It is used on its own", by=quality_manager)
    enter_calibration(
        instrument=undecided, laboratory="Tarn Metrology (invented)", certificate_number="K-next",
        calibrated_on=timezone.localdate(), relative_uncertainty_pct=3.0, by=quality_manager,
    )  # fmt: skip
    assert run_digest(begun.now) == digest
    assert recompute_findings().is_same
    # Even where a row of the set-up is altered afterwards, the finding is computed with what it was given ...
    Calibration.objects.filter(pk=calibration.pk).update(relative_uncertainty_pct=9.0)
    assert recompute_findings().is_same
    # ... and what it was given cannot be altered unnoticed.
    evaluation, _ = held()
    evaluation.setup["instruments"][0]["relative_uncertainty_pct"] = 9.0
    Evaluation.objects.update(setup=evaluation.setup)
    fields = [row.field for row in recompute_findings().differences]
    assert fields[0] == "setup_digest"
    assert "expanded_uncertainty" in fields
    with pytest.raises(SystemExit) as ended:
        call_command("recompute", verbosity=0)
    assert ended.value.code == 1


def test_the_auditor_sees_what_nobody_has_decided(client, quality_manager):
    undecided, decided = divider(quality_manager, use="not_decided"), divider(quality_manager, name="HVD-2")
    client.force_login(quality_manager)
    shown = client.get(reverse("records:audit")).content.decode()
    listed = shown[shown.index("Corrections that nobody has decided about") :]
    assert reverse("equipment:detail", args=[undecided.pk]) in listed
    assert reverse("equipment:detail", args=[decided.pk]) not in listed


def test_an_impulse_system_measures_the_voltage_of_an_impulse(unit, people, tester):
    laboratory.authorise(tester, "lightning_impulse")
    arrangement = laboratory.arrangement_of(unit, "power_frequency_withstand")
    stage = {"name": "full", "voltage_kv": 125, "tolerance_pct": 3, "polarity": "positive"}
    document = {"kind": "lightning_impulse", "title": "Impulse", "procedure": {"stages": [stage], "criteria": []}}
    Step.objects.filter(pk=arrangement.step_id).update(kind="lightning_impulse", document=document)
    begun = laboratory.Way(laboratory.arrangement_of(unit, "lightning_impulse"), *people)
    system = laboratory.system("impulse", "I-92", entered_by=tester)
    instruments.use_system(run=begun.run, system=system, by=tester)
    (row,) = setup_document(begun.now)["instruments"]
    assert (row["name"], row["quantity"]) == (system.name, "voltage")
    assert not any("No instrument" in words for words in missing_before_energising(begun.now))
