"""Instruments for programs."""

from __future__ import annotations

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIRequestFactory, force_authenticate

from equipment.api import InstrumentViewSet, router_entries
from equipment.services import Point
from tests.integration.equipment.inventory import calibrated, instrument, many

pytestmark = pytest.mark.usefixtures("_on_the_day")


@pytest.fixture
def _on_the_day():
    with time_machine.travel("2026-11-25T09:00:00Z", tick=False):
        yield


def ask(user, pk: int | None = None, method: str = "get"):
    request = getattr(APIRequestFactory(), method)("/")
    if user:
        force_authenticate(request, user)
    actions = {"get": "list" if pk is None else "retrieve"}
    answer = InstrumentViewSet.as_view(actions)(request, **({} if pk is None else {"pk": pk}))
    answer.render()
    return answer


def test_the_laboratory_reads_list_and_detail(quality_manager, tester):
    made = instrument(quality_manager)
    calibrated(made, quality_manager, due_in_days=10, points=[Point("as_left", "kV", 50.0, 50.1, 0.3)])
    row = ask(tester).data["results"][0]
    assert (row["identifier"], row["status"]["code"], row["status"]["days_left"]) == ("HV-01", "valid", 10)
    whole = ask(tester, made.pk).data
    assert whole["calibrations"][0]["points"][0]["reading"] == 50.1
    assert "calibrations" not in row


@pytest.mark.parametrize(("who", "status"), [("administrator", 403), ("customer", 404), ("witness", 404)])
def test_others_read_nothing(request, quality_manager, who, status):
    made = instrument(quality_manager)
    user = request.getfixturevalue(who)
    assert [ask(user).status_code, ask(user, made.pk).status_code] == [status, status]


def test_nobody_is_told_to_sign_in_and_nobody_writes(quality_manager):
    assert ask(None).status_code == 401
    assert ask(quality_manager, method="post").status_code == 405
    assert router_entries == [("instruments", InstrumentViewSet)]


def test_a_list_of_one_and_of_many_costs_the_same(quality_manager):
    assert quality_manager.is_laboratory
    costs = []
    for numbers in (range(1), range(1, 7), range(7, 40)):
        many(quality_manager, numbers)
        with CaptureQueriesContext(connection) as queries:
            assert len(ask(quality_manager).data["results"]) == numbers.stop
        costs.append(len(queries))
    assert costs == [4, 4, 4]
