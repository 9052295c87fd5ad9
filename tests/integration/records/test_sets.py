"""A run judged over several files: the part that each plays, one set aside, one lent by another run."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from labsite.jobs.services import run_waiting
from labsite.ledger.models import Entry
from records import tasks
from records.certificates.document import _run
from records.certificates.pictures import pictures_of
from records.evaluation.slow_synthesis import synthesise_table
from records.evaluation.sweep.synthesis import SeriesBranch, synthesise_sweep
from records.evaluation.synthesis import PulseTrain, synthesise_pulses, synthesise_withstand
from records.evaluation.writing import csv_text
from records.models import Evaluation, Finding, Record, Run
from records.readers.isolation import read_in_child
from records.readers.recording import Recording
from records.selectors.digests import current_evaluation
from records.selectors.judgement import judged_files, what_needs_judgement
from records.services import series, sets, stated, uploads
from records.services.recomputing import recompute_findings
from records.services.refusals import Refused, ValueRefused
from records.services.storing import absolute
from schedules.models import Unit
from tests.answers import let_go
from tests.integration.records import laboratory
from tests.integration.records.laboratory import open_step

pytestmark = pytest.mark.django_db
UNNAMED = property(lambda series: [""] * len(series.members))  # as earlier releases, which knew no names
ALIKE = [{"quantity": "correlation", "min": 0.95, "judges": "unit"}]


@pytest.fixture
def impedance(tester):
    return laboratory.system("impedance", "Z-1", entered_by=tester)


@pytest.fixture
def resistance(tester):
    return laboratory.system("resistance", "W-1", entered_by=tester)


def table(**columns):
    return csv_text(synthesise_table(columns))


def sweep(resonance_hz, seed=1):
    return csv_text(synthesise_sweep([SeriesBranch.tuned(resonance_hz, 60, 6.37)], seed=seed, points=400))


def value(way, quantity):
    return Finding.objects.filter(evaluation=current_evaluation(way.now), quantity=quantity).first()


def deeds():
    return list(Entry.objects.filter(action__startswith="record.").values_list("action", flat=True))


def test_a_list_of_pulses_is_judged_with_the_voltage_of_a_second_file(prepared):
    listed = synthesise_pulses(
        laboratory.DISCHARGE,
        [PulseTrain(3, 150, 0.0, 240.0), PulseTrain(250, 100, 22.0, 92.0)],
        seed=5,
        frequency_hz=60.0,
    )
    alone = Recording(listed.time_s, {name: listed.channels[name] for name in ("charge_pc", "phase_deg")})
    way = prepared().open()
    way.upload(csv_text(alone), "pulses.csv")
    assert way.now.verdict == "inconclusive"  # nothing tells the voltage
    way.upload(csv_text(synthesise_withstand(laboratory.DISCHARGE, seed=5)), "voltage.csv", part="voltage")
    evaluation = current_evaluation(way.now)
    assert (way.now.verdict, evaluation.verdict) == ("conforms", "conforms")
    assert [(row["name"], row["part"]) for row in evaluation.document["records"]] == [
        ("pulses.csv", "record"),
        ("voltage.csv", "voltage"),
    ]
    digests = [record.sha256 for record in Record.objects.order_by("pk")]
    assert evaluation.record_digest == hashlib.sha256("".join(digests).encode()).hexdigest()
    assert evaluation.record.given_name == "pulses.csv"
    assert evaluation.document["details"]["pattern"]["pulses"] > 0
    assert "The voltage is the r.m.s. trend of “voltage.csv” (the voltage)." in evaluation.document["remarks"]
    assert recompute_findings().is_same


def test_phases_in_separate_files_are_judged_side_by_side(unit, people, resistance, client):
    way = open_step(unit, people, "winding_resistance", {"material": "copper"}, [resistance])
    for part, ohm in (("", 0.420), ("phase_b", 0.424), ("phase_c", 0.428)):
        way.upload(table(resistance_ohm=ohm, temperature_c=20.0), f"{part or 'a'}.csv", part=part)
    # (0.428 - 0.420)/0.424 = 1.886792 %
    assert value(way, "resistance_unbalance_pct").value == pytest.approx(100 * 0.008 / 0.424)
    named = "“a.csv” (phase A) 0.42, “phase_b.csv” (phase B) 0.424, “phase_c.csv” (phase C) 0.428 Ω"
    assert named in value(way, "resistance_unbalance_pct").reason
    judged = judged_files(current_evaluation(way.now))
    assert [row["words"] for row in judged] == ["The winding, or phase A", "Phase B", "Phase C"]
    client.force_login(way.operator)
    for page in (reverse("records:review", args=[way.run.pk]), f"{reverse('records:run', args=[way.run.pk])}?at=sign"):
        assert "phase_b.csv" in client.get(page).content.decode()
    on_certificate = _run(Run.objects.for_detail().get(pk=way.run.pk))["records"]
    assert [(row["name"], row["part"]) for row in on_certificate] == [
        ("a.csv", "The winding, or phase A"),
        ("phase_b.csv", "Phase B"),
        ("phase_c.csv", "Phase C"),
    ]
    assert recompute_findings().is_same


@pytest.mark.parametrize("after_first", [True, False])
def test_before_and_after_are_two_files_in_either_order(unit, people, impedance, after_first):
    way = open_step(unit, people, "capacitance", {}, [impedance])
    files = [
        (table(capacitance_uf=11.0, voltage_kv=1.0), "after.csv", ""),
        (table(capacitance_uf=10.0, voltage_kv=1.0), "before.csv", "before"),
    ]
    for content, name, part in files if after_first else reversed(files):
        way.upload(content, name, part=part)
    assert value(way, "capacitance_change_pct").value == pytest.approx(10.0)
    assert current_evaluation(way.now).record.given_name == "after.csv"


def halves():
    """Return a withstand record cut in two, and a part that does not continue it."""
    whole = synthesise_withstand(laboratory.WITHSTAND, seed=4)
    middle = len(whole.time_s) // 2
    first, second = (
        Recording(whole.time_s[cut], {name: values[cut] for name, values in whole.channels.items()})
        for cut in (slice(0, middle), slice(middle, None))
    )
    strange = Recording(second.time_s + 500.0, second.channels)
    return csv_text(first), csv_text(second), csv_text(strange)


def test_parts_of_one_record_are_joined_and_what_does_not_continue_makes_no_valid_test(prepared):
    first, second, strange = halves()
    way = prepared("power_frequency_withstand").open()
    way.upload(first, "first.csv")
    assert way.now.verdict == "not_valid"  # cut off: the hold is too short
    wrong = way.upload(strange, "strange.csv", part="continued").record
    assert way.now.verdict == "not_valid"
    reason = Finding.objects.filter(evaluation=current_evaluation(way.now)).first().reason
    assert "they are not parts of one record" in reason
    assert "set the wrong one aside" in reason
    sets.set_aside_record(record=wrong, reason="Another unit's.", by=way.operator)
    run_waiting()
    way.upload(second, "second.csv", part="continued")
    assert way.now.verdict == "conforms"
    assert [row["name"] for row in current_evaluation(way.now).document["records"]] == ["first.csv", "second.csv"]
    assert recompute_findings().is_same


def test_a_file_is_set_aside_with_a_reason_and_taken_back_and_nothing_is_lost(prepared):
    way = prepared().open()
    short = way.upload(laboratory.too_short(), "short.csv").record
    good = way.upload(laboratory.conforming(), "good.csv").record
    with pytest.raises(ValueRefused, match="Say why"):
        sets.set_aside_record(record=good, reason=" ", by=way.operator)
    with pytest.raises(PermissionDenied):
        sets.set_aside_record(record=good, reason="Mine", by=way.approver)
    sets.set_aside_record(record=good, reason="Of another unit", by=way.operator)
    assert (way.now.state, way.now.verdict) == ("recorded", "")
    run_waiting()
    assert (way.now.state, way.now.verdict) == ("judged", "not_valid")
    matters = [matter.words for matter in what_needs_judgement(way.now)]
    assert f"“good.csv” was uploaded and is not judged: Set aside by {way.operator}: Of another unit. It is kept." in (
        matters
    )
    with pytest.raises(Refused, match="set aside already"):
        sets.set_aside_record(record=good, reason="Again", by=way.operator)
    sets.take_back_record(record=good, by=way.operator)
    run_waiting()
    assert (way.now.verdict, current_evaluation(way.now).record) == ("conforms", good)
    assert Evaluation.objects.count() == 4
    assert Record.objects.count() == 2
    assert {"record.set_aside", "record.take_back"} <= set(deeds())
    with pytest.raises(Refused, match="is not set aside"):
        sets.take_back_record(record=short, by=way.operator)


def test_a_run_whose_only_file_is_set_aside_waits_and_does_not_fall_back_on_it(prepared):
    way = prepared().open()
    record = way.upload(laboratory.conforming()).record
    sets.set_aside_record(record=record, reason="Of another unit", by=way.operator)
    assert (way.now.state, way.now.verdict) == ("energised", "")
    way.upload(b"\x00\x01\x02" * 500, "junk.bin")
    assert (way.now.state, way.now.verdict) == ("energised", "")


def test_another_part_has_the_run_judged_again(unit, people, impedance):
    way = open_step(unit, people, "capacitance", {}, [impedance])
    record = way.upload(table(capacitance_uf=10.0, voltage_kv=1.0), "one.csv").record
    way.upload(table(capacitance_uf=11.0, voltage_kv=1.0), "two.csv")
    assert value(way, "capacitance_change_pct") is None  # of two that play one part the newer counts
    words = [matter.words for matter in what_needs_judgement(way.now)]
    assert "“one.csv” was uploaded and is not judged: a newer file plays its part. It is kept." in words
    sets.choose_part(record=record, part="before", by=way.operator)
    run_waiting()
    assert value(way, "capacitance_change_pct").value == pytest.approx(10.0)
    with pytest.raises(ValueRefused, match="is no part that a file of this test can play"):
        sets.choose_part(record=record, part="voltage", by=way.operator)


@pytest.fixture
def read_files(monkeypatch):
    """Return the names of the stored files that were read, each time one is."""
    read: list[str] = []

    def noted(path, **options):
        read.append(path.name)
        return read_in_child(path, **options)

    monkeypatch.setattr(tasks, "read_in_child", noted)
    return read


def test_a_changed_set_or_value_is_judged_from_the_arrays_that_are_kept(unit, people, impedance, read_files):
    way = open_step(unit, people, "capacitance", {}, [impedance])
    one = way.upload(table(capacitance_uf=10.0, voltage_kv=1.0), "one.csv", part="before").record
    two = way.upload(table(capacitance_uf=11.0, voltage_kv=1.0), "two.csv").record
    assert set(read_files) == {one.sha256, two.sha256}
    read_files.clear()
    sets.set_aside_record(record=one, reason="Not of this unit", by=way.operator)
    run_waiting()
    assert value(way, "capacitance_change_pct") is None
    sets.take_back_record(record=one, by=way.operator)
    run_waiting()
    assert value(way, "capacitance_change_pct").value == pytest.approx(10.0)
    sets.choose_part(record=one, part="after", by=way.operator)
    sets.choose_part(record=two, part="before", by=way.operator)
    run_waiting()
    assert value(way, "capacitance_change_pct").value == pytest.approx(100 / 11)  # from 11 to 10 µF, in percent of 11
    stated.state_values(run=way.run, values={"series_elements": 8}, by=way.operator)
    run_waiting()
    assert "One element's share is" in value(way, "capacitance_change_pct").reason
    assert read_files == []
    one.refresh_from_db()
    assert (one.state, one.summary["rows"] > 0, bool(one.summary["preview"])) == ("read", True, True)
    assert recompute_findings().is_same


def test_a_file_is_read_again_where_its_columns_or_its_part_are_others_or_its_arrays_are_gone(prepared, read_files):
    way = prepared().open()
    record = way.upload(laboratory.conforming()).record
    read_files.clear()
    sets.choose_part(record=record, part="voltage", by=way.operator)
    run_waiting()
    assert read_files == [record.sha256]
    record.refresh_from_db()
    absolute(record.summary["arrays"]).unlink()
    sets.set_aside_record(record=record, reason="To be looked at", by=way.operator)
    sets.take_back_record(record=record, by=way.operator)
    run_waiting()
    assert read_files == [record.sha256] * 2
    assert absolute(record.summary["arrays"]).exists()
    sets.choose_part(record=record, part="record", by=way.operator)
    run_waiting()
    columns = {"time_s": "Time (s)", "voltage_kv": "Voltage (kV)", "charge_pc": "Charge (pC)"}
    read_files.clear()
    uploads.tell_columns(record=record, column_map=columns, by=way.operator)
    run_waiting()
    assert read_files == [record.sha256]
    assert way.now.verdict == "conforms"


def test_a_voltage_file_needs_no_charge_and_is_asked_for_its_own_columns(prepared):
    way = prepared().open()
    unnamed = "T,CH1\n" + csv_text(synthesise_withstand(laboratory.DISCHARGE, seed=5)).partition("\n")[2]
    record = way.upload(unnamed, "voltage.csv", part="voltage").record
    record.refresh_from_db()
    assert record.state == "needs_mapping"
    assert "time" in record.words
    assert "charge" not in record.words


def test_the_trace_of_a_sister_is_the_reference_of_a_sweep(unit, people, impedance, customer_company):
    sister = laboratory.unit_with_plan(entered_by=people[0], company=customer_company, serial="S-1")
    stranger = laboratory.unit_with_plan(entered_by=people[0], company=customer_company, serial="S-2")
    ways = {}
    for one in (sister, stranger, unit):
        ways[one] = open_step(one, people, "frequency_response", {"criteria": ALIKE}, [impedance])
    ways[sister].upload(sweep(282), "sister.csv")
    ways[stranger].upload(sweep(283, 2), "stranger.csv")
    way = ways[unit]
    way.upload(sweep(281, 3), "own.csv")
    assert way.now.verdict == "inconclusive"  # there is nothing to compare with yet
    Unit.objects.filter(pk__in=(sister.pk, unit.pk)).update(design="F-7")
    with pytest.raises(Refused, match="is no run of this kind, of this unit or of a sister"):
        sets.lend_record(run=way.run, part="reference", lender=ways[stranger].now, by=way.operator)
    with pytest.raises(Refused, match="is a file of this run itself"):
        sets.lend_record(run=way.run, part="phase_b", lender=ways[sister].now, by=way.operator)
    lent = sets.lend_record(run=way.run, part="reference", lender=ways[sister].now, by=way.operator)
    run_waiting()
    assert lent.sha256 == Record.objects.get(run=ways[sister].run).sha256
    evaluation = current_evaluation(way.now)
    assert [row["part"] for row in evaluation.document["records"]] == ["reference", "phase_a"]
    assert (evaluation.verdict, evaluation.record.given_name) == ("conforms", "own.csv")
    assert value(way, "correlation").value > 0.99
    assert value(way, "correlation").reason.startswith(
        "“sister.csv” (to compare with) and “own.csv” have a correlation"
    )
    # the branch that is told is the unit's, not the reference's
    assert value(way, "resonance_hz").value == pytest.approx(281, rel=2e-3)
    assert not [matter for matter in what_needs_judgement(way.now) if "same bytes" in matter.words]
    assert recompute_findings().is_same


def test_a_customer_sees_neither_what_was_set_aside_nor_what_a_stranger_lent(
    unit, people, impedance, customer, other_customer, client
):
    sister = laboratory.unit_with_plan(entered_by=people[0], company=other_customer.organisation, serial="STRANGER-1")
    Unit.objects.update(design="F-7")
    lender = open_step(sister, people, "frequency_response", {"criteria": ALIKE}, [impedance])
    lender.upload(sweep(282), "stranger-1.csv")
    way = open_step(unit, people, "frequency_response", {"criteria": ALIKE}, [impedance])
    wrong = way.upload(sweep(300, 7), "stranger-2.csv").record
    sets.set_aside_record(record=wrong, reason="Of another customer", by=way.operator)
    way.upload(sweep(281, 3), "own.csv")
    lent = sets.lend_record(run=way.run, part="reference", lender=lender.now, by=way.operator)
    run_waiting()
    Run.objects.filter(pk=way.run.pk).update(state=Run.State.APPROVED)
    client.force_login(customer)
    own = Record.objects.get(given_name="own.csv")
    answers = [client.get(reverse("portal:record-file", args=[row.pk])) for row in (own, wrong, lent)]
    for answer in answers:
        let_go(answer)
    assert [answer.status_code for answer in answers] == [200, 404, 404]
    told = client.get(f"/api/runs/{way.run.pk}/").content + client.get("/api/records/").content
    told += client.get(reverse("portal:unit", args=[unit.pk])).content
    assert b"own.csv" in told
    assert b"stranger" not in told.lower()
    run = Run.objects.for_detail().get(pk=way.run.pk)
    assert [row["name"] for row in _run(run)["records"]] == ["Trace of a sister unit", "own.csv"]
    assert value(way, "correlation").reason.startswith("The trace of a sister unit and “own.csv” have a correlation")
    assert "stranger" not in str(current_evaluation(run).document["findings"])
    drawn = pictures_of({"runs": [{"number": "R", "evaluation": {"id": current_evaluation(run).pk}}]})
    assert sorted(drawn) == ["R/2"]
    client.force_login(people[0])
    answer = client.get(reverse("records:record-file", args=[lent.pk]))
    let_go(answer)
    assert answer.status_code == 200


def test_an_evaluation_of_an_earlier_release_is_found_again_with_the_numbers_that_it_has(
    unit, people, impedance, monkeypatch
):
    way = open_step(unit, people, "frequency_response", {"criteria": ALIKE}, [impedance])
    monkeypatch.setattr(series.Series, "called", UNNAMED)
    way.upload(sweep(281, 3), "b.csv", part="phase_b")
    monkeypatch.undo()
    way.upload(sweep(282), "a.csv")
    monkeypatch.setattr(series.Series, "called", UNNAMED)
    sets.set_aside_record(record=Record.objects.get(given_name="a.csv"), reason="To be judged anew", by=way.operator)
    sets.take_back_record(record=Record.objects.get(given_name="a.csv"), by=way.operator)
    run_waiting()
    monkeypatch.undo()
    first, second, *_, third = Evaluation.objects.order_by("pk")
    assert [row["called"] for row in second.document["records"]] == ["“a.csv” (phase A)", "“b.csv” (phase B)"]
    assert "called" not in str([first.document, third.document])
    reasons = [row.findings.get(quantity="correlation").reason for row in (second, third)]
    assert [words.partition(" have ")[0] for words in reasons] == [
        "“a.csv” (phase A) and “b.csv” (phase B)",
        "Record 1 and record 2",
    ]
    assert recompute_findings().is_same


def test_an_evaluation_of_an_earlier_release_counts_by_its_record(prepared):
    way = prepared().open()
    way.upload(laboratory.too_short(), "short.csv")
    way.upload(laboratory.conforming(), "good.csv")
    first, second = Evaluation.objects.order_by("pk")
    for row in (first, second):
        del row.document["records"], row.document["stated"]
    # judged by two workers, the older record last, as it could be then
    Evaluation.objects.filter(pk=first.pk).update(document=second.document, record=second.record)
    Evaluation.objects.filter(pk=second.pk).update(document=first.document, record=first.record)
    assert current_evaluation(way.now).record.given_name == "good.csv"


def test_a_file_set_aside_while_it_is_read_is_not_judged(prepared):
    way = prepared().open()
    raw = laboratory.conforming().encode()
    found = way.store(raw)
    sets.set_aside_record(record=found.record, reason="Too early", by=way.operator)
    run_waiting()
    found.record.refresh_from_db()
    assert (found.record.state, Evaluation.objects.count(), way.now.state) == ("set_aside", 0, "energised")


def test_pages_show_parts_and_do_the_deeds(unit, people, impedance, client):
    way = open_step(unit, people, "capacitance", {}, [impedance])
    record = way.upload(table(capacitance_uf=10.0, voltage_kv=1.0), "one.csv").record
    client.force_login(way.operator)
    sheet = f"{reverse('records:run', args=[way.run.pk])}?at=record"
    page = client.get(sheet).content.decode()
    assert "Readings before the dielectric tests" in page
    client.post(reverse("records:part", args=[record.pk]), {f"part-{record.pk}-part": "before"})
    run_waiting()
    record.refresh_from_db()
    assert record.part == "before"
    answer = client.post(reverse("records:set-aside", args=[record.pk]), {f"aside-{record.pk}-reason": ""}, follow=True)
    assert "This field is required." in answer.content.decode()
    answer = client.post(
        reverse("records:set-aside", args=[record.pk]), {f"aside-{record.pk}-reason": "Wrong unit"}, follow=True
    )
    assert f"Set aside by {way.operator}: Wrong unit" in answer.content.decode()
    client.post(reverse("records:take-back", args=[record.pk]))
    run_waiting()
    assert way.now.state == "judged"


def test_a_withstand_sheet_offers_the_parts_and_an_impulse_sheet_nothing_to_choose(
    unit, people, voltage_system, client
):
    client.force_login(people[0])
    stage = {"name": "full", "voltage_kv": 125, "tolerance_pct": 3, "polarity": "positive"}
    ways = {
        "power_frequency_withstand": {"stages": [{"name": "withstand", "voltage_kv": 60, "hold_s": 60}]},
        "lightning_impulse": {"stages": [stage]},
    }
    for kind, procedure in ways.items():
        way = open_step(unit, people, kind, procedure, [voltage_system])
        page = client.get(f"{reverse('records:run', args=[way.run.pk])}?at=record").content.decode()
        assert ("What this file is" in page) == (kind != "lightning_impulse")


def test_one_file_alone_is_judged_with_no_word_about_parts(unit, people, resistance):
    way = open_step(unit, people, "winding_resistance", {}, [resistance])
    readings = Recording(np.empty(0), {"resistance_ohm": np.array([0.42, 0.421]), "current_a": np.array([10.0, 10.0])})
    way.upload(csv_text(readings))
    assert way.now.state == "judged"
    assert judged_files(current_evaluation(way.now)) == []
    assert current_evaluation(way.now).record_digest == Record.objects.get().sha256
