"""Every list costs the same number of queries with one row and with a hundred."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, models
from django.test import Client
from django.test.utils import CaptureQueriesContext

from records.models import Certificate, Evaluation, Finding, Nonconformance, Record, Run, RunInstrument
from schedules.models import Arrangement, Order, Plan, Step, Unit
from tests.integration.planted import plant

ROWS = 100
LISTS = {
    "approver": [
        "/today/", "/orders/", "/units/", "/certificates/", "/nonconformances/", "/bays/",
        "/authorisations/", "/search/?q=SERIAL", "/api/orders/", "/api/units/", "/api/plans/", "/api/runs/",
        "/api/records/", "/api/certificates/", "/api/instruments/",
    ],
    "quality_manager": ["/today/", "/instruments/", "/overrides/"],
    "customer": ["/portal/", "/api/orders/", "/api/units/", "/api/runs/", "/api/records/", "/api/certificates/"],
}  # fmt: skip


@pytest.fixture
def people(tester, second_tester, approver, quality_manager, administrator, customer, witness):
    """Return everybody that the planting asks for."""
    return {
        "tester": tester,
        "second": second_tester,
        "approver": approver,
        "quality_manager": quality_manager,
        "administrator": administrator,
        "customer": customer,
        "witness": witness,
    }


def copied(row: models.Model, **changed: Any) -> Any:
    """Store a copy of a row under a new key, past every service: only the number of rows matters here."""
    made = copy.copy(row)
    made.pk, made._state = None, copy.copy(row._state)
    made._state.adding, made._state.fields_cache = True, {}
    for name, value in changed.items():
        setattr(made, name, value)
    models.Model.save_base(made, raw=True)
    return made


def multiply(things: dict[str, Any]) -> None:
    """Give the customer ninety-nine more orders, each with unit, plan, run, record, finding and certificate."""
    run, certificate = Run.objects.get(pk=things["run"].pk), Certificate.objects.get(pk=things["certificate"].pk)
    record, evaluation = Record.objects.get(pk=things["record"].pk), Evaluation.objects.filter(run=run).get()
    finding, use = Finding.objects.filter(evaluation=evaluation).first(), RunInstrument.objects.filter(run=run).first()
    unit, order = Unit.objects.get(pk=things["unit"].pk), Order.objects.get(pk=things["order"].pk)
    plan, step = Plan.objects.get(unit=unit), Step.objects.get(pk=run.step_id)
    arrangement = Arrangement.objects.get(pk=run.arrangement_id)
    for number in range(ROWS - 1):
        another_order = copied(order, number=f"COPY-O-{number}")
        another_unit = copied(unit, number=f"COPY-U-{number}", serial=f"SERIAL-COPY-{number}", order=another_order)
        another_plan = copied(plan, unit=another_unit)
        another_step = copied(step, plan=another_plan)
        another_arrangement = copied(arrangement, step=another_step)
        where = {"step": another_step, "arrangement": another_arrangement}
        another_run = copied(run, number=f"COPY-R-{number}", **where)
        another_record = copied(record, run=another_run)
        another_evaluation = copied(evaluation, run=another_run, record=another_record)
        copied(finding, evaluation=another_evaluation)
        copied(use, run=another_run, overridden_by=run.operator, override_reason="copied")
        copied(certificate, number=f"COPY-C-{number}", unit=another_unit)
        Nonconformance.objects.create(run=another_run)


def cost(who: Any) -> Callable[[str], int]:
    """Return a function that counts the queries of one address for one person."""
    client = Client()
    client.force_login(who)

    def count(address: str) -> int:
        client.get(address)  # what is remembered for a while is remembered now
        with CaptureQueriesContext(
            connection,
        ) as seen:
            answer = client.get(address)
        assert answer.status_code == 200, f"{address}: {answer.status_code}"
        return len(seen)

    return count


def test_a_hundred_rows_cost_what_one_costs(people):
    planted = plant(people["customer"], people, "A")
    use = RunInstrument.objects.filter(run=planted.things["run"]).first()
    RunInstrument.objects.filter(pk=use.pk).update(overridden_by=people["quality_manager"], override_reason="as agreed")
    few = {(role, address): cost(people[role])(address) for role, lists in LISTS.items() for address in lists}
    multiply(planted.things)
    assert Run.objects.count() >= ROWS
    many = {(role, address): cost(people[role])(address) for role, lists in LISTS.items() for address in lists}
    dearer = {key: (few[key], many[key]) for key in few if many[key] > few[key]}
    assert not dearer, f"queries with few and with a hundred rows: {dearer}"
