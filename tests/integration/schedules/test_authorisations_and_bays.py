"""Pages of authorisations and bays."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from schedules.models import Authorisation, Bay
from schedules.services.authorisations import grant_authorisation
from tests.people import person

pytestmark = pytest.mark.django_db


def text(response):
    return response.content.decode()


def grant(user, by, **more):
    today = timezone.localdate()
    terms = {"kind": "partial_discharge", "activity": "perform", "valid_from": today} | more
    return grant_authorisation(user=user, valid_until=today + timedelta(days=365), by=by, **terms)


def test_the_quality_manager_authorises_and_ends(send, browser, tester, quality_manager):
    today = timezone.localdate()
    fields = {"user": tester.pk, "kind": "partial_discharge", "activity": "perform", "valid_from": today}
    send(quality_manager, reverse("schedules:authorisation-create"), valid_until=today + timedelta(days=9), **fields)
    made = Authorisation.objects.get()
    assert (made.user, made.granted_by) == (tester, quality_manager)
    assert "Tove Brandt" in text(browser(tester).get(reverse("schedules:authorisations")))
    url = reverse("schedules:authorisation-end", args=[made.pk])
    refused = send(quality_manager, url, last_day=today + timedelta(days=30), reason="Left")
    assert "anyway; give an earlier day" in refused.context["form"].errors["last_day"][0]
    assert send(quality_manager, url, last_day=today, reason="Left").status_code == 302
    made.refresh_from_db()
    assert made.valid_until == today


def test_the_end_before_the_start_is_said_by_the_field(send, tester, quality_manager):
    today = timezone.localdate()
    fields = {"user": tester.pk, "kind": "partial_discharge", "activity": "perform", "valid_from": today}
    answer = send(
        quality_manager, reverse("schedules:authorisation-create"), valid_until=today - timedelta(days=1), **fields
    )
    assert answer.context["form"].errors["valid_until"] == ["The end lies before the start."]


@pytest.mark.parametrize("name", ["schedules:authorisations", "schedules:bays"])
@pytest.mark.parametrize(
    ("who", "status"), [("customer", 404), ("witness", 404), ("administrator", 200), ("tester", 200)]
)
def test_who_reads_authorisations_and_bays(request, browser, name, who, status):
    assert browser(request.getfixturevalue(who)).get(reverse(name)).status_code == status


@pytest.mark.parametrize(("who", "status"), [("customer", 404), ("administrator", 403), ("tester", 403)])
def test_others_authorise_nobody(request, browser, who, status):
    client = browser(request.getfixturevalue(who))
    assert client.get(reverse("schedules:authorisation-create")).status_code == status


def test_bays_are_entered_by_administrator_and_quality_manager(send, browser, administrator, quality_manager, tester):
    source = {"source_kv": "100", "source_kva": "50", "frequency_hz": "50", "residual_discharge_pc": "2,5"}
    url = reverse("schedules:bays")
    assert send(administrator, url, name="North", **source).status_code == 302
    direct = {"direct_kv": "120", "direct_ma": "7,5"}
    assert send(quality_manager, url, name="South", **source, **direct).status_code == 302
    assert "120 kV, 7.5 mA" in text(browser(tester).get(url))
    assert send(tester, url, name="East", **source).status_code == 403
    again = send(administrator, url, name="North", **source)
    assert again.context["form"].errors["name"] == ["There is a bay North already."]
    assert [bay.residual_discharge_pc for bay in Bay.objects.all()] == [2.5, 2.5]
    assert "Enter a bay" not in text(browser(tester).get(url))


@pytest.mark.parametrize("rows", [1, 7, 49])
def test_the_list_costs_the_same_for_1_7_and_49_rows(
    browser, quality_manager, laboratory_company, rows, django_assert_num_queries
):
    for number in range(rows):
        grant(person(f"p{number}@withstand.example", f"Person {number}", laboratory_company, "tester"), quality_manager)
    client = browser(quality_manager)
    with django_assert_num_queries(5):  # session, person, roles, how many, the rows
        client.get(reverse("schedules:authorisations"))
