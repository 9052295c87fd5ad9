"""What the auditor is shown, the scale factors of a bay, and that a run keeps the budget it was judged with."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from equipment.models import Calibration, Instrument, MeasuringSystem
from equipment.services.systems import make_budget
from records.models import Run, RunInstrument, SetupCheck
from records.selectors.audit import audit, gaps_in_cover
from records.selectors.digests import run_digest, setup_document
from records.selectors.scales import scale_history
from records.services import instruments as run_instruments
from tests.integration.certificates import world
from tests.integration.records import drifted

SINCE, UNTIL = date(2026, 1, 1), date(2026, 11, 25)


@pytest.fixture(autouse=True)
def _on_the_day():
    with time_machine.travel("2026-11-25T09:00:00Z", tick=False):
        yield


@pytest.fixture
def people(tester, second_tester, approver, quality_manager):
    return {"tester": tester, "second": second_tester, "approver": approver, "quality": quality_manager}


@pytest.fixture
def arrangement(people, customer):
    unit = world.unit_of(world.order_of(customer, people["tester"]), people["tester"])
    return unit.plans.get().steps.get(kind="power_frequency_withstand").arrangements.first()


def item(identifier: str) -> Instrument:
    return Instrument.objects.create(identifier=identifier, description="x", serial="1", quantity="voltage")


def covered(made: Instrument, by, begun: date, due: date, number: str, verdict: str = "within") -> Calibration:
    return Calibration.objects.create(
        instrument=made, laboratory="Tarn (invented)", certificate_number=number, calibrated_on=begun, due_on=due,
        relative_uncertainty_pct=1.0, verdict=verdict, entered_by=by,
    )  # fmt: skip


def test_gaps_in_cover_with_the_runs_on_them(arrangement, people, quality_manager):
    made = item("GAP")
    covered(made, quality_manager, date(2025, 3, 1), date(2026, 2, 28), "K-1")
    covered(made, quality_manager, date(2026, 3, 11), date(2027, 3, 10), "K-2")
    drifted.run_on(date(2026, 3, 5), "IN-GAP", 60, arrangement, people, {"instrument": made})
    drifted.run_on(date(2026, 3, 12), "COVERED", 60, arrangement, people, {"instrument": made})
    failed = item("FAILED")
    covered(failed, quality_manager, date(2026, 5, 1), date(2027, 5, 1), "K-3", "outside")
    again = item("AGAIN")  # of two on one day the failed one counts, whichever was entered first
    covered(again, quality_manager, date(2026, 6, 1), date(2027, 6, 1), "K-5", "outside")
    covered(again, quality_manager, date(2026, 6, 1), date(2027, 6, 1), "K-6")
    fine = item("FINE")
    covered(fine, quality_manager, date(2026, 1, 1), date(2027, 1, 1), "K-4")
    found = gaps_in_cover(quality_manager, SINCE, UNTIL)
    assert [(gap.instrument.identifier, gap.first, gap.last, gap.days, gap.runs) for gap in found] == [
        ("AGAIN", date(2026, 6, 1), UNTIL, 178, 0),
        ("FAILED", date(2026, 5, 1), UNTIL, 209, 0),
        ("GAP", date(2026, 3, 1), date(2026, 3, 10), 10, 1),
    ]


def test_calibrations_that_ended_during_an_order(arrangement, people, quality_manager):
    made = item("ENDED")
    ended = covered(made, quality_manager, date(2025, 7, 1), date(2026, 6, 30), "K-1")
    lasting = covered(item("LASTS"), quality_manager, date(2025, 7, 1), date(2027, 6, 30), "K-2")
    for number, day, calibration in (
        ("EARLY", date(2026, 6, 20), ended),
        ("LASTING", date(2026, 6, 21), lasting),
        ("LATE", date(2026, 7, 2), lasting),
    ):
        use = {"instrument": calibration.instrument, "calibration": calibration}
        drifted.run_on(day, number, 60, arrangement, people, use)
    found = list(audit(quality_manager, SINCE, UNTIL).ended)
    assert [(use.run.number, use.order_ended) for use in found] == [("EARLY", date(2026, 7, 2))]


def test_the_page_shows_gaps_overrides_and_reasons_for_the_same_cost(client, arrangement, people, quality_manager):
    client.force_login(quality_manager)
    address = reverse("records:audit")
    costs = []
    for count in range(4):
        made = item(f"I-{count}")
        covered(made, quality_manager, date(2025, 3, 1), date(2026, 2, 28), "K")
        run = drifted.run_on(date(2026, 3, 5), f"R-{count}", 60, arrangement, people, {"instrument": made})
        RunInstrument.objects.filter(run=run).update(
            overridden_by=quality_manager, overridden_at=datetime(2026, 3, 5, tzinfo=UTC), override_reason="no other"
        )
        with CaptureQueriesContext(connection) as queries:
            shown = client.get(address).content.decode()
        costs.append(len(queries))
    assert costs == [costs[0]] * 4
    assert "no other" in shown
    assert "I-3" in shown
    assert client.get(address, {"since": "2020-01-01", "until": "2020-12-31"}).status_code == 200


def checked(run: Run, kind: str, by, **values) -> None:
    SetupCheck.objects.create(run=run, kind=kind, values=values, is_satisfied=True, made_by=by)


def test_scale_factors_of_a_bay_with_what_does_not_belong_marked(client, arrangement, people, quality_manager):
    readings = [97.5, 98.0, 97.0, 97.8, 97.2, 60.0]
    use = {"instrument": item("A")}
    for day, reading in enumerate(readings):
        number, on = f"R-{day}", date(2026, 3, 1) + timedelta(days=day)
        run = drifted.run_on(on, number, 60, arrangement, people, use)
        checked(run, "charge_calibration", people["tester"], injected_pc=100, reading=reading)
        checked(run, "background_noise", people["tester"], noise_pc=4.0 + 0.1 * day)
    history = scale_history(quality_manager, world.bay())
    assert [row.value for row in history.scales] == pytest.approx([100 / reading for reading in readings])
    assert [row.is_outlier for row in history.scales] == [False] * 5 + [True]
    assert not any(row.is_outlier for row in history.noises)
    assert [dot.kind for dot in history.scale_plot.dots] == [""] * 5 + ["bad"]
    client.force_login(quality_manager)
    shown = client.get(reverse("records:scales", args=[world.bay().pk])).content.decode()
    assert "1 do not belong" in shown


def test_a_run_keeps_the_budget_that_held_when_its_system_was_listed(arrangement, people, quality_manager):
    made = drifted.divider(quality_manager)
    chain = drifted.chain_of(made, quality_manager)
    before = _listed(arrangement, people, chain, "R-BEFORE")
    said = {"at_value": 60.0, "unit": "kV", "reason": "first", "by": quality_manager}
    budget = make_budget(system=MeasuringSystem.objects.for_detail().get(), temperature_pct=0.2, **said)
    after = _listed(arrangement, people, chain, "R-AFTER")
    digest = run_digest(_run(after))
    make_budget(system=MeasuringSystem.objects.for_detail().get(), temperature_pct=2.0, **said)
    assert setup_document(_run(before))["instruments"][0]["relative_uncertainty_pct"] == 1.0
    assert setup_document(_run(after))["instruments"][0]["relative_uncertainty_pct"] == pytest.approx(
        budget.relative_uncertainty_pct
    )
    assert after.instruments.get().budget == budget
    assert run_digest(_run(after)) == digest


def _listed(arrangement, people, chain, number: str) -> Run:
    run = Run.objects.create(
        number=number, step=arrangement.step, arrangement=arrangement, bay=world.bay(), operator=people["tester"],
        second_person=people["second"], started_at=datetime(2026, 11, 25, 8, tzinfo=UTC),
    )  # fmt: skip
    run_instruments.use_system(run=run, system=chain, by=people["tester"])
    return run


def _run(run: Run) -> Run:
    return Run.objects.for_detail().get(pk=run.pk)
