"""Progress, work lists and the search; what they cost."""

from __future__ import annotations

import pytest
from django.urls import reverse
from django.utils import timezone

from records.models import Certificate, Nonconformance
from records.selectors.progress import unit_status, unit_statuses
from records.services.nonconformances import decide_nonconformance
from records.services.refusals import Refused
from schedules.models import Plan, Step, Unit
from tests.integration.records import laboratory

pytestmark = pytest.mark.django_db


def only_one_arrangement(unit):
    """Leave the unit one discharge step with one arrangement, so that one run is the whole way."""
    Step.objects.filter(plan__unit=unit, kind="power_frequency_withstand").update(position=9)
    step = Step.objects.get(plan__unit=unit, kind="partial_discharge")
    step.arrangements.filter(position__gt=1).delete()
    other = Step.objects.get(plan__unit=unit, position=9)
    other.arrangements.all().delete()


def test_a_unit_goes_through_its_statuses(prepared, unit, approver):
    Plan.objects.update(is_current=False)
    assert unit_status(unit).code == "awaiting_plan"
    Plan.objects.update(is_current=True)
    only_one_arrangement(unit)
    assert unit_status(unit).code == "planned"
    way = prepared()
    assert unit_status(unit).code == "in_test"
    way.open().upload(laboratory.failing())
    way.sign()
    assert unit_status(unit).code == "awaiting_review"
    way.approve()
    assert unit_status(unit).code == "nonconforming"
    decide_nonconformance(
        nonconformance=Nonconformance.objects.get(), disposition="concession", reason="Agreed in writing.", by=approver
    )
    assert unit_status(unit).code == "ready_for_certificate"
    Certificate.objects.create(
        number="C-1", unit=unit, state="issued", requested_by=approver, issued_by=approver, issued_at=timezone.now()
    )
    assert unit_status(unit).code == "certified"


def test_a_test_that_was_not_valid_leaves_the_step_open(prepared, unit):
    only_one_arrangement(unit)
    way = prepared().open()
    way.upload(laboratory.too_short())
    way.sign().approve()
    status = unit_status(unit)
    assert (status.code, status.done, status.total) == ("in_test", 0, 1)
    assert status.next_arrangement.arrangement == way.run.arrangement


def test_a_nonconformance_is_decided_once(prepared, approver):
    way = prepared().open()
    way.upload(laboratory.failing())
    way.sign().approve()
    found = Nonconformance.objects.get()
    decide_nonconformance(nonconformance=found, disposition="scrap", reason="Beyond repair.", by=approver)
    with pytest.raises(Refused, match="already decided: scrap"):
        decide_nonconformance(nonconformance=found, disposition="retest", reason="Changed.", by=approver)


def test_statuses_cost_the_same_for_one_unit_and_for_seven(tester, customer_company, django_assert_num_queries):
    laboratory.unit_with_plan(entered_by=tester, company=customer_company)
    with django_assert_num_queries(8):
        unit_statuses(Unit.objects.all())
    for number in range(6):
        laboratory.unit_with_plan(entered_by=tester, company=customer_company, serial=f"S-{number}")
    rows = list(Unit.objects.all())
    with django_assert_num_queries(8):
        unit_statuses(Unit.objects.all())
    assert len(rows) == 7


def queries_of(client, address, django_assert_max_num_queries):
    """Return how many queries one GET costs."""
    with django_assert_max_num_queries(80) as counted:
        assert client.get(address).status_code == 200
    return len(counted)


def test_today_and_search_cost_the_same_for_one_row_and_for_seven(
    client, unit, people, customer_company, django_assert_max_num_queries
):
    tester, second, approver = people

    def start(one):
        laboratory.Way(laboratory.arrangement_of(one, "partial_discharge"), tester, second, approver)

    start(unit)
    pages = [reverse("records:today"), f"{reverse('search')}?q=R-"]
    client.force_login(tester)
    first = [queries_of(client, page, django_assert_max_num_queries) for page in pages]
    for number in range(6):
        start(laboratory.unit_with_plan(entered_by=tester, company=customer_company, serial=f"S-{number}"))
    second_time = [queries_of(client, page, django_assert_max_num_queries) for page in pages]
    assert second_time == first


@pytest.mark.parametrize("who", ["tester", "approver", "quality_manager"])
def test_today_tells_each_role_what_to_do(request, client, unit, who):
    client.force_login(request.getfixturevalue(who))
    shown = {"tester": "Start a run", "approver": "To review", "quality_manager": "Nonconformances to decide"}[who]
    assert shown in client.get(reverse("records:today")).content.decode()


def test_one_box_finds_serial_order_run_and_instrument(client, start, unit, voltage_system):
    way = start()
    client.force_login(way.operator)
    for words, shown in (
        ("ms-24", unit.serial),
        (unit.order.number, unit.order.number),
        (way.run.number, way.run.number),
        ("d-50", "D-50"),
    ):
        page = client.get(reverse("search"), {"q": words}).content.decode()
        assert shown in page
        assert "Nothing found" not in page
    assert "Nothing found" in client.get(reverse("search"), {"q": "no such thing"}).content.decode()
    assert client.get(reverse("search"), {"q": "%_'"}).status_code == 200


def test_results_list_each_arrangement_and_the_next_thing(client, prepared, unit):
    way = prepared()
    client.force_login(way.operator)
    page = client.get(reverse("records:unit-results", args=[unit.pk])).content.decode()
    assert way.run.number in page
    assert "0 of 6 arrangements are done" in page
    assert "Start a run" in page


def test_sheet_and_review_cost_the_same_with_one_other_run_and_with_five(
    client, prepared, start, approver, voltage_system, charge_system, django_assert_max_num_queries
):
    way = prepared().open()
    way.upload(laboratory.conforming())
    way.sign()
    start(place=2)
    client.force_login(approver)
    pages = [reverse(f"records:{name}", args=[way.run.pk]) for name in ("run", "review")]
    first = [queries_of(client, page, django_assert_max_num_queries) for page in pages]
    start(place=3)
    for place in (1, 2, 3):
        start("power_frequency_withstand", place)
    assert [queries_of(client, page, django_assert_max_num_queries) for page in pages] == first
