"""Found wrong: exactly the runs that the computation by hand names flip, and nothing is changed silently."""

from __future__ import annotations

import hashlib
import json
from datetime import date, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from equipment.models import Instrument
from equipment.selectors.accuracy import corrections_used
from equipment.services import Circumstances, Point, assign_system, enter_calibration, enter_range
from labsite.jobs.models import Job
from labsite.jobs.services import run_waiting
from labsite.ledger.models import Entry
from labsite.ledger.selectors import verify_chain
from records.models import AffectedFinding, AffectedRun, Certificate, CustomerLetter, Finding, NonconformingWork, Run
from records.selectors.impact import backward_trace, effect_counts
from records.services import impact
from records.services.refusals import Refused, ValueRefused
from tests.integration.certificates import world
from tests.integration.records import drifted

DAY = "2026-11-25T09:00:00Z"


@pytest.fixture(autouse=True)
def _on_the_day():
    with time_machine.travel(DAY, tick=True):
        yield


@pytest.fixture
def people(tester, second_tester, approver, quality_manager):
    return {"tester": tester, "second": second_tester, "approver": approver, "quality": quality_manager}


@pytest.fixture
def made(quality_manager):
    return drifted.divider(quality_manager)


@pytest.fixture
def runs(made, people, customer, other_customer):
    return drifted.forty_runs(made, people, [customer, other_customer])


@pytest.fixture
def work(made, runs, quality_manager):
    calibration = drifted.found_wrong(made, quality_manager)
    run_waiting()
    return NonconformingWork.objects.get(calibration=calibration)


def places(work, **narrowed) -> list[int]:
    numbers = work.runs.filter(**narrowed).values_list("run__number", flat=True)
    return sorted(int(number.removeprefix("R-")) for number in numbers)


def test_exactly_the_runs_named_by_hand_flip_or_are_doubtful(work):
    assert work.runs.count() == 40
    assert places(work, effect_constant="flips") == drifted.FLIPS_CONSTANT
    assert places(work, effect_constant="doubtful") == drifted.DOUBTFUL_CONSTANT
    assert places(work, effect_linear="flips") == drifted.FLIPS_LINEAR
    assert places(work, effect_linear="doubtful") == drifted.DOUBTFUL_LINEAR
    assert work.runs.filter(effect_constant="stands").count() == 40 - 23 - 4
    assert [(count.effect, count.constant, count.linear) for count in effect_counts(work)] == [
        ("flips", 23, 7),
        ("doubtful", 4, 2),
        ("stands", 13, 31),
        ("untouched", 0, 0),
    ]
    assert set(work.runs.filter(effect_constant="flips").values_list("verdict_constant", flat=True)) == {"not_valid"}
    one = work.runs.get(run__number="R-23")  # v = 58.96 + 0.07 (161 mod 40 = 1) = 59.03 kV
    voltage = one.findings.get(finding__quantity="held_voltage_kv")
    assert voltage.value_constant == pytest.approx(59.03 * 25 / 26)
    assert voltage.value_linear == pytest.approx(59.03 * (1 - 23 / 40 / 26))
    assert voltage.error_constant == pytest.approx(59.03 / 26)
    assert "59.03 kV less the error +2.27 kV is 56.7596 kV" in voltage.reason_constant
    assert one.findings.get(finding__quantity="disruptive_discharges").effect_constant == "untouched"


def test_the_trace_finds_direct_use_and_use_through_a_system_in_one_query(made, runs, people, customer):
    arrangement = runs[0].arrangement
    use = {"instrument": made}
    drifted.run_on(drifted.GOOD_ON - timedelta(days=1), "BEFORE", 60, arrangement, people, use)
    drifted.run_on(drifted.FOUND_ON + timedelta(days=1), "AFTER", 60, arrangement, people, use)
    drifted.run_on(drifted.FOUND_ON, "ABANDONED", 60, arrangement, people, use, state="abandoned")
    other = drifted.divider(people["quality"], "HVD-OTHER")
    chain = runs[1].instruments.get().system
    drifted.run_on(drifted.FOUND_ON, "PART", 60, arrangement, people, {"instrument": other, "system": chain})
    drifted.run_on(drifted.FOUND_ON, "OTHER", 60, arrangement, people, {"instrument": other})
    with CaptureQueriesContext(connection) as queries:
        found = [use.run.number for use in backward_trace(made, drifted.GOOD_ON, drifted.FOUND_ON)]
    assert len(queries) == 1
    assert sorted(found) == sorted([f"R-{place:02d}" for place in range(40)] + ["PART"])


def test_nothing_is_changed_silently(made, runs, quality_manager):
    before = list(Run.objects.order_by("pk").values()), list(Finding.objects.order_by("pk").values())
    drifted.found_wrong(made, quality_manager)
    run_waiting()
    assert (list(Run.objects.order_by("pk").values()), list(Finding.objects.order_by("pk").values())) == before
    assert Certificate.objects.count() == 0
    assert verify_chain().is_sound
    actions = set(Entry.objects.filter(action__startswith="impact.").values_list("action", flat=True))
    assert actions == {"impact.open", "impact.trace", "impact.recomputed"}


def test_a_calibration_within_opens_nothing_and_jobs_may_run_twice(work, made, quality_manager):
    for job in Job.objects.all():
        Job.objects.filter(pk=job.pk).update(state="queued")
    run_waiting()
    assert work.runs.count() == 40
    assert NonconformingWork.objects.count() == 1
    assert CustomerLetter.objects.count() == 2


def test_without_a_last_good_calibration_every_run_is_looked_at(made, runs, quality_manager):
    made.calibrations.update(verdict="outside")
    drifted.found_wrong(made, quality_manager)
    run_waiting()
    found = NonconformingWork.objects.get()
    assert (found.from_on, found.good_calibration, found.runs.count()) == (None, None, 40)
    assert places(found, effect_linear="flips") == drifted.FLIPS_CONSTANT  # nothing is known of the growth


def test_letters_name_a_customers_own_results_only(work, customer, other_customer):
    own = work.letters.get(customer=customer.organisation)
    assert "SERIAL-0" in own.text
    assert "SERIAL-1" not in own.text
    assert "run R-00" in own.text
    assert "run R-04" not in own.text  # stands under both
    assert own.sent_at is None
    assert "SERIAL-1" in work.letters.get(customer=other_customer.organisation).text


def test_a_person_decides_each_run_and_then_closes(work, quality_manager, tester):
    flipped = work.runs.get(run__number="R-23")
    said = {"affected": flipped, "by": quality_manager}
    with pytest.raises(Refused, match="Under both assumptions the verdict changes"):
        impact.decide_run(decision="stands", reason="we trust it", **said)
    with pytest.raises(ValueRefused):
        impact.decide_run(decision="retest", reason=" ", **said)
    impact.decide_run(decision="retest", reason="unit is still here", **said)
    with pytest.raises(Refused, match="already decided: test again"):
        impact.decide_run(decision="amend", reason="x", **said)
    assert impact.decide_all_that_stand(work=work, reason="clear of the limits", by=quality_manager) == 13
    with pytest.raises(Refused, match="Still open: 26 runs to decide, 2 letters to send"):
        impact.close_work(work=work, conclusion="x", by=quality_manager)
    for row in work.runs.filter(decision=""):
        impact.decide_run(affected=row, decision="withdraw", reason="cannot be kept", by=quality_manager)
    for letter in work.letters.all():
        edited = impact.edit_letter(letter=letter, version=1, text=letter.text + "More.", by=quality_manager)
        impact.mark_letter_sent(letter=edited, how="by post", by=quality_manager)
        with pytest.raises(Refused, match="was sent"):
            impact.edit_letter(letter=letter, version=2, text="other", by=quality_manager)
    closed = impact.close_work(work=work, conclusion="Low-voltage arm aged; half the interval.", by=quality_manager)
    assert (closed.state, closed.closed_by) == ("closed", quality_manager)
    assert Certificate.objects.count() == 0


def test_pages_show_the_work_and_a_stranger_finds_nothing(client, work, quality_manager, tester, customer):
    flipped = work.runs.get(run__number="R-23")
    letter = work.letters.first()
    addresses = [
        reverse("records:impacts"),
        reverse("records:impact", args=[work.pk]),
        reverse("records:impact-run", args=[work.pk, flipped.pk]),
        reverse("records:impact-letter", args=[work.pk, letter.pk]),
    ]
    client.force_login(quality_manager)
    shown = [client.get(address).content.decode() for address in addresses]
    assert "HVD-9" in shown[0]
    assert shown[1].count('<tr><th scope="row"><a href="/nonconforming-work/') + shown[1].count("R-") >= 40
    assert "56.76" in shown[2]
    assert "SERIAL-0" in shown[3]
    narrowed = client.get(addresses[1], {"effect": "doubtful"}).content.decode()
    assert "R-09" in narrowed
    assert "R-23" not in narrowed
    link = client.get(reverse("records:impact-of-calibration", args=[work.calibration_id]))
    assert link["Location"] == addresses[1]
    assert (
        reverse("records:impact-of-calibration", args=[work.calibration_id])
        in client.get(reverse("equipment:detail", args=[work.calibration.instrument_id])).content.decode()
    )
    client.force_login(customer)
    assert [client.get(address).status_code for address in addresses] == [404] * 4
    client.force_login(tester)
    assert [client.get(address).status_code for address in addresses] == [200] * 4
    refused = client.post(addresses[2], {"decision": "retest", "reason": "x"})
    assert refused.status_code == 403
    assert AffectedRun.objects.filter(decision="retest").count() == 0


def queries_of(client, address: str) -> int:
    with CaptureQueriesContext(connection) as queries:
        assert client.get(address).status_code == 200
    return len(queries)


def test_the_page_of_the_work_costs_the_same_for_few_runs_and_for_many(client, work, quality_manager):
    client.force_login(quality_manager)
    address = reverse("records:impact", args=[work.pk])
    few = queries_of(client, address + "?effect=doubtful")
    assert queries_of(client, address) == few


def test_the_document_for_the_file_is_a_pdf_that_names_runs_and_numbers(client, work, quality_manager):
    client.force_login(quality_manager)
    client.post(reverse("records:impact-compose", args=[work.pk]))
    run_waiting()
    work.refresh_from_db()
    answer = client.get(reverse("records:impact-document", args=[work.pk]))
    content = b"".join(answer.streaming_content)
    assert hashlib.sha256(content).hexdigest() == work.document_sha256
    text = _text_of(content)
    assert "Nonconforming work" in text
    assert "R-23" in text
    assert "WRONG-2" in text
    assert "56.7596 kV" in text.replace("\n", " ")


def _text_of(content: bytes) -> str:
    import io

    import pypdf

    return "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages)


def test_the_days_of_the_story():
    assert date(2026, 7, 24) == drifted.FOUND_ON


# ---- what was known then, several units, a customer's own rule


def _entered(made, by, number, day, points, **circumstances):
    return enter_calibration(
        instrument=made, laboratory="Tarn Metrology (invented)", certificate_number=number, calibrated_on=day,
        due_on=day + timedelta(days=365), relative_uncertainty_pct=0.5, points=points,
        circumstances=Circumstances(**circumstances), by=by,
    )  # fmt: skip


def test_the_error_counts_against_the_correction_that_the_run_had_applied(people, customer):
    """As left it read 2 % of the reading too much, and runs on its own were corrected; as found 4 %.

    Read 60 kV: corrected 58.8 kV, true 57.6 kV, so 1.2 kV is taken out. Not corrected: 60 kV, and 2.4 kV is taken out.
    Through a system assigned after that calibration 1.2 kV too, for its scale factor contains what it left.
    """
    by = people["quality"]
    made = Instrument.objects.create(identifier="HVD-3", description="Invented", serial="3", quantity="voltage")
    enter_range(instrument=made, quantity="voltage", unit="kV", low=0, high=120, accuracy_pct=3, by=by)
    left = [Point("as_left", "kV", 0.98 * at, at, 0.1) for at in (50.0, 100.0)]
    good = _entered(made, by, "GOOD-3", drifted.GOOD_ON, left, correction_use="applied")
    chain = assign_system(
        name="Chain 3", quantity="voltage", instruments=[made], relative_uncertainty_pct=1.0,
        assigned_on=drifted.GOOD_ON + timedelta(days=1), by=by,
    )  # fmt: skip
    unit = world.unit_of(world.order_of(customer, people["tester"]), people["tester"])
    arrangement = unit.plans.get().steps.get(kind="power_frequency_withstand").arrangements.first()
    day = drifted.GOOD_ON + timedelta(days=100)
    curves = list(corrections_used(good).curves)
    for number, value, use in (
        ("R-own", 58.8, {"corrections": curves}),
        ("R-plain", 60.0, {}),
        ("R-chain", 58.8, {"system": chain}),
    ):
        drifted.run_on(day, number, value, arrangement, people, {"instrument": made, **use})
    found = [Point("as_found", "kV", 0.96 * at, at, 0.1) for at in (50.0, 100.0)]
    work = NonconformingWork.objects.get(
        calibration=_entered(made, by, "WRONG-3", drifted.FOUND_ON, found, was_adjusted=True)
    )
    run_waiting()
    taken = {
        row.affected.run.number: (row.error_constant, row.value_constant)
        for row in AffectedFinding.objects.filter(affected__work=work, finding__quantity="held_voltage_kv")
    }
    assert taken["R-own"] == pytest.approx((1.2, 57.6))
    assert taken["R-plain"] == pytest.approx((2.4, 57.6))
    assert taken["R-chain"] == pytest.approx((1.2, 57.6))


def test_points_in_several_units_touch_the_findings_of_each(people, customer):
    """A meter for volts and ohms: by its ranges the ohms belong to resistances, and both are recomputed."""
    by = people["quality"]
    made = Instrument.objects.create(identifier="DMM-1", description="Invented", serial="1", quantity="voltage")
    for quantity, unit in (("voltage", "kV"), ("resistance", "Ω")):
        enter_range(instrument=made, quantity=quantity, unit=unit, low=0, high=1000, accuracy_pct=1, by=by)
    unit = world.unit_of(world.order_of(customer, people["tester"]), people["tester"])
    arrangement = unit.plans.get().steps.get(kind="power_frequency_withstand").arrangements.first()
    run = drifted.run_on(drifted.GOOD_ON, "R-1", 60.0, arrangement, people, {"instrument": made})
    Finding.objects.create(
        evaluation=run.evaluations.get(), position=3, quantity="resistance_ohm", value=105.0, unit="Ω", maximum=106.0,
        expanded_uncertainty=0.1, coverage_factor=2.0, decision="simple_acceptance", judges="unit",
        verdict="conforms", reason="Invented.",
    )  # fmt: skip
    points = [Point("as_found", "kV", at, 1.02 * at, 0.01) for at in (50.0, 100.0)]
    points += [Point("as_found", "Ω", at, 1.05 * at, 0.01) for at in (50.0, 100.0)]
    _entered(made, by, "WRONG-4", drifted.FOUND_ON, points, was_adjusted=True)
    run_waiting()
    rows = AffectedFinding.objects.filter(affected__run=run)
    found = {row.finding.quantity: row.value_constant for row in rows if row.error_constant is not None}
    assert found == pytest.approx({"held_voltage_kv": 60 / 1.02, "resistance_ohm": 100.0})


@pytest.mark.parametrize(("is_corrected", "effect"), [(True, "doubtful"), (False, "untouched")])
def test_a_wrong_barometer_makes_doubtful_only_what_was_corrected_for_the_air(people, customer, is_corrected, effect):
    by = people["quality"]
    made = Instrument.objects.create(identifier="BAR-1", description="Invented", serial="1", quantity="pressure")
    enter_range(instrument=made, quantity="pressure", unit="kPa", low=80, high=110, accuracy_pct=1, by=by)
    unit = world.unit_of(world.order_of(customer, people["tester"]), people["tester"])
    step = unit.plans.get().steps.get(kind="power_frequency_withstand")
    if is_corrected:
        step.document["procedure"]["air"] = {"path_m": 0.14, "kind": "alternating"}
        step.save(update_fields=["document"])
    air = {"temperature_c": 21.4, "pressure_kpa": 100.9, "relative_humidity_pct": 45.0}
    run = drifted.run_on(drifted.GOOD_ON, "R-1", 60.0, step.arrangements.first(), people, {"instrument": made}, **air)
    points = [Point("as_found", "kPa", at, 1.02 * at, 0.01) for at in (90.0, 105.0)]
    _entered(made, by, "WRONG-5", drifted.FOUND_ON, points, was_adjusted=True)
    run_waiting()
    row = AffectedRun.objects.get(run=run)
    assert (row.effect_constant, row.effect_linear) == (effect, effect)


def test_a_customers_own_rule_is_computed_with_the_factor_of_the_plan(made, people, customer):
    """U = 0.3 kV, r = 2: asked at least 58.2 kV, so accepted from 58.8 kV. 61 kV less 1/26 of it are 58.654 kV."""
    unit = world.unit_of(world.order_of(customer, people["tester"]), people["tester"])
    step = unit.plans.get().steps.get(kind="power_frequency_withstand")
    document = json.loads(json.dumps(step.document))
    own = {"quantity": "held_voltage_kv", "stage": "withstand", "min": 58.2, "max": 61.8, "judges": "test",
           "decision": "customer_defined", "guard_factor": 2.0}  # fmt: skip
    procedure = document["procedure"]
    procedure["criteria"] = [*procedure.get("criteria", []), own]
    type(step).objects.filter(pk=step.pk).update(document=document)
    step.refresh_from_db()
    run = drifted.run_on(drifted.GOOD_ON, "R-own-rule", 61.0, step.arrangements.first(), people, {"instrument": made})
    Finding.objects.filter(evaluation__run=run, quantity="held_voltage_kv").update(decision="customer_defined")
    drifted.found_wrong(made, people["quality"])
    run_waiting()
    row = AffectedFinding.objects.get(affected__run=run, finding__quantity="held_voltage_kv")
    assert row.value_constant == pytest.approx(61 * 25 / 26)
    assert (row.verdict_constant, row.effect_constant) == ("inconclusive", "flips")
    assert "by hand" not in row.reason_constant
