"""The API of orders, units and plans: as allowed, refused and visible as the pages."""

import pytest
from django.urls import include, path
from rest_framework.routers import DefaultRouter
from rest_framework.test import APIClient

from labsite.ledger.models import Entry
from schedules.api import router_entries
from schedules.models import Order, Plan, Unit
from schedules.services.orders import edit_order
from tests.orders import REACTOR, a_plan, a_unit, an_order

pytestmark = pytest.mark.django_db
router = DefaultRouter()
for prefix, viewset in router_entries:
    router.register(prefix, viewset, basename=prefix)
urlpatterns = [path("api/", include(router.urls))]


@pytest.fixture(autouse=True)
def _mounted(settings):
    """Mount the entries alone; where the site mounts them is the business of records."""
    settings.ROOT_URLCONF = __name__


@pytest.fixture
def api():
    """Return a function that gives a client in somebody's name."""

    def client(person):
        made = APIClient()
        made.force_login(person)
        return made

    return client


def test_an_order_is_entered_changed_and_reviewed(api, tester, approver, customer_company):
    sent = {"customer": customer_company.pk, "purchase_reference": "PO 1", "hold_kinds": ["partial_discharge"]}
    made = api(tester).post("/api/orders/", sent, format="json")
    assert made.status_code == 201
    assert (made.data["purchase_reference"], made.data["version"]) == ("PO 1", 1)
    url = f"/api/orders/{made.data['id']}/"
    assert api(tester).patch(url, {"remarks": "x"}, format="json").json() == {
        "version": ["Say which version you read; it is in every answer."]
    }
    changed = api(tester).patch(url, {"remarks": "x", "version": 1}, format="json")
    assert (changed.status_code, changed.data["version"]) == (200, 2)
    assert api(tester).post(f"{url}review/").status_code == 403
    assert api(approver).post(f"{url}review/").data["reviewed_at"] is not None
    assert list(Entry.objects.order_by("sequence").values_list("action", flat=True)) == [
        "order.entered",
        "order.changed",
        "order.reviewed",
    ]


def test_a_stale_change_answers_409_with_both_values(api, tester, order):
    edit_order(order=order, version=order.version, changes={"remarks": "theirs"}, by=tester)
    sent = {"remarks": "mine", "version": order.version}
    answer = api(tester).patch(f"/api/orders/{order.pk}/", sent, format="json")
    assert answer.status_code == 409
    conflict = answer.json()["conflicts"][0]
    assert (conflict["field"], conflict["current"], conflict["yours"]) == ("remarks", "theirs", "mine")


def test_a_unit_is_entered_with_its_ratings_and_gets_its_plan(api, tester, order):
    sent = {"order": order.pk, "serial": "A1", "equipment": "series_reactor", "ratings": REACTOR}
    made = api(tester).post("/api/units/", sent, format="json")
    assert made.status_code == 201
    assert (made.data["ratings"], made.data["plan_revision"]) == (REACTOR, None)
    proposal = api(tester).get(f"/api/units/{made.data['id']}/proposal/").json()
    adopted = api(tester).post(
        "/api/plans/adopt/", {"unit": made.data["id"], "expected_digest": proposal["digest"]}, format="json"
    )
    assert adopted.status_code == 201
    assert adopted.data["digest"] == Plan.objects.get().digest == proposal["digest"]
    levels = [
        stage["set_point_kv"] for step in adopted.data["steps"] for stage in step["document"]["procedure"]["stages"]
    ]
    assert levels == [50.0, 25.0, 10.75]  # common practice for 15.5 kV, 110 kV BIL; no source
    assert api(tester).get(f"/api/units/{made.data['id']}/").data["plan_revision"] == 1


def test_several_units_are_entered_all_or_none(api, tester, order):
    sent = {"order": order.pk, "serials": ["A1", "A2"], "equipment": "series_reactor", "ratings": REACTOR}
    assert len(api(tester).post("/api/units/several/", sent, format="json").data) == 2
    again = api(tester).post("/api/units/several/", sent | {"serials": ["A2", "A3"]}, format="json")
    assert again.status_code == 400
    assert "A2. No unit was entered." in again.json()["serials"][0]
    assert Unit.objects.count() == 2


@pytest.mark.parametrize(
    ("ratings", "place", "words"),
    [
        ({"highest_voltage_kv": 15.5, "lightning_impulse_kv": 111}, "lightning_impulse_kv", "111 kV is not in the row"),
        ({"highest_voltage_kv": "15.5"}, "highest_voltage_kv", "is a text, not a number"),
        ({"highest_voltage_kv": 15.5, "colour": "grey"}, "colour", "is not a known rating"),
    ],
)
def test_ratings_are_refused_in_words_by_their_field(api, tester, order, ratings, place, words):
    sent = {"order": order.pk, "serial": "A1", "equipment": "series_reactor", "ratings": ratings}
    answer = api(tester).post("/api/units/", sent, format="json")
    assert answer.status_code == 400
    found = answer.json()
    assert words in str(found["ratings"][place] if "ratings" in found else found[place])
    assert not Unit.objects.exists()


def test_what_the_order_settles_is_no_rating(api, tester, order):
    ratings = REACTOR | {"decision_rule": "guard_band"}
    sent = {"order": order.pk, "serial": "A1", "equipment": "series_reactor", "ratings": ratings}
    answer = api(tester).post("/api/units/", sent, format="json")
    assert answer.json()["ratings"] == ["Not on a nameplate, but settled elsewhere: decision_rule."]


def test_a_customer_reads_the_own_work_and_writes_nothing(api, customer, other_customer, tester, unit):
    plan = a_plan(unit=unit, by=tester)
    places = [f"/api/orders/{unit.order_id}/", f"/api/units/{unit.pk}/", f"/api/plans/{plan.pk}/"]
    for place, listing in zip(places, ("/api/orders/", "/api/units/", "/api/plans/"), strict=True):
        assert api(customer).get(place).status_code == 200
        assert api(other_customer).get(place).status_code == 404
        assert api(customer).get(listing).data["count"] == 1
        assert api(other_customer).get(listing).data["count"] == 0
        assert api(other_customer).get(listing, {"q": unit.serial}).data["count"] == 0
    assert api(customer).patch(places[0], {"remarks": "x", "version": 2}, format="json").status_code == 403
    assert api(other_customer).patch(places[0], {"remarks": "x", "version": 2}, format="json").status_code == 404
    assert api(customer).post("/api/plans/adopt/", {"unit": unit.pk}, format="json").status_code == 403
    assert Order.objects.get().remarks == ""


@pytest.mark.parametrize("who", ["witness", "administrator"])
def test_witness_and_administrator_see_no_technical_work(request, api, who, unit):
    client = api(request.getfixturevalue(who))
    assert client.get("/api/units/").data["count"] == 0
    assert client.get(f"/api/units/{unit.pk}/").status_code == 404


def test_nobody_enters_an_order_for_what_is_not_there(api, tester):
    answer = api(tester).post("/api/orders/", {"customer": 999, "purchase_reference": "PO"}, format="json")
    assert answer.status_code == 400
    assert "999" in answer.json()["customer"][0]


def test_without_signing_in_there_is_nothing(api, unit):
    assert APIClient().get("/api/units/").status_code in (401, 403)


@pytest.mark.parametrize("rows", [1, 7])
@pytest.mark.parametrize(("listing", "queries"), [("/api/orders/", 5), ("/api/units/", 5), ("/api/plans/", 7)])
def test_lists_cost_the_same_for_1_and_7_rows(
    api, tester, approver, customer_company, rows, listing, queries, django_assert_num_queries
):
    for number in range(rows):
        order = an_order(customer=customer_company, by=tester, reviewed_by=approver)
        a_plan(unit=a_unit(order=order, by=tester, serial=f"S{number}"), by=tester)
    client = api(tester)
    # session, person, roles, how many, the rows; of plans also steps and arrangements
    with django_assert_num_queries(queries):
        assert client.get(listing).data["count"] == rows
