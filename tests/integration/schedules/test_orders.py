"""Pages of orders: allowed and refused, searched, paged, stale."""

import pytest
from django.urls import reverse

from labsite.ledger.models import Entry
from schedules.models import Order
from schedules.services.orders import edit_order
from tests.orders import a_unit, an_order

pytestmark = pytest.mark.django_db
TERMS = {
    "purchase_reference": "PO 4711",
    "standards": "IEEE C37.20.3\n",
    "decision_rule": "simple_acceptance",
    "discharge_procedure": "agreed_practice",
    "hold_kinds": ["partial_discharge"],
}


def text(response):
    return response.content.decode()


def test_an_order_is_entered_reviewed_and_shown(send, browser, tester, approver, customer_company):
    answer = send(tester, reverse("schedules:order-create"), customer=customer_company.pk, **TERMS)
    order = Order.objects.get()
    assert (answer.status_code, answer["Location"]) == (302, reverse("schedules:order", args=[order.pk]))
    assert (order.standards, order.hold_kinds) == (["IEEE C37.20.3"], ["partial_discharge"])
    page = text(browser(tester).get(answer["Location"]))
    assert "Next: review the contract" in page
    assert "The contract is reviewed</button>" not in page
    send(approver, reverse("schedules:order-review", args=[order.pk]), version=1)
    order.refresh_from_db()
    assert order.reviewed_by == approver
    assert "Next: add the units" in text(browser(tester).get(answer["Location"]))
    history = text(browser(tester).get(reverse("schedules:order-history", args=[order.pk])))
    assert history.index("Order entered") < history.index("Contract reviewed")


def test_what_is_missing_is_said_by_the_field_and_what_was_typed_stays(send, tester):
    answer = send(tester, reverse("schedules:order-create"), **{**TERMS, "remarks": "Handle with care"})
    assert answer.status_code == 200
    page = text(answer)
    assert "Nothing was saved yet" in page
    assert "Handle with care" in page
    assert answer.context["form"].errors["customer"] == ["This field is required."]
    assert not Order.objects.exists()


def test_a_refusal_of_the_service_is_said_by_the_field(send, tester, customer_company):
    fields = {**TERMS, "customer": customer_company.pk, "witness_kinds": ["partial_discharge"]}
    answer = send(tester, reverse("schedules:order-create"), **fields)
    assert answer.context["form"].errors["witness_kinds"] == [
        "Partial discharge: a hold point or a witness point, not both."
    ]


def test_two_clicks_make_one_order(send, tester, customer_company):
    fields = {**TERMS, "customer": customer_company.pk, "_once": "5f0c1f9e-1111-4222-8333-444455556666"}
    first = send(tester, reverse("schedules:order-create"), **fields)
    second = send(tester, reverse("schedules:order-create"), **fields)
    assert first["Location"] == second["Location"]
    assert Order.objects.count() == 1


def test_changed_terms_need_a_reason_and_the_review_again(send, tester, order):
    url = reverse("schedules:order-edit", args=[order.pk])
    fields = {**TERMS, "customer": order.customer_id, "version": order.version}
    refused = send(tester, url, **fields)
    assert "Say why the agreed terms change" in refused.context["form"].errors["reason"][0]
    assert send(tester, url, **fields, reason="Letter of 3 March").status_code == 302
    order.refresh_from_db()
    assert not order.is_reviewed


def test_a_stale_form_answers_409_with_both_values(send, tester, second_tester, order):
    edit_order(order=order, version=order.version, changes={"remarks": "Theirs stays"}, by=second_tester)
    fields = {**TERMS, "hold_kinds": [], "standards": "", "customer": order.customer_id, "remarks": "Mine waits"}
    answer = send(tester, reverse("schedules:order-edit", args=[order.pk]), **fields, version=order.version)
    assert answer.status_code == 409
    assert "Theirs stays" in text(answer)
    assert "Mine waits" in text(answer)
    order.refresh_from_db()
    assert order.remarks == "Theirs stays"


def test_a_review_of_other_terms_than_were_read_changes_nothing(send, browser, tester, approver, customer_company):
    order = an_order(customer=customer_company, by=tester)
    edit_order(order=order, version=1, changes={"remarks": "urgent"}, by=tester)
    client = browser(approver)
    answer = client.post(reverse("schedules:order-review", args=[order.pk]), {"version": 1}, follow=True)
    assert "was changed after you opened it" in text(answer)
    order.refresh_from_db()
    assert not order.is_reviewed


def test_search_finds_by_number_reference_customer_and_serial(browser, tester, customer_company, order, unit):
    other = an_order(customer=customer_company, by=tester, purchase_reference="ZZ 99")
    client = browser(tester)

    def found(**query):
        return [one.pk for one in client.get(reverse("schedules:orders"), query).context["page_obj"]]

    assert found() == [other.pk, order.pk]
    assert found(q="zz 99") == [other.pk]
    assert found(q=order.number) == [order.pk]
    assert found(q="sr-001") == [order.pk]
    assert found(q="fennmark") == [other.pk, order.pk]
    assert found(review="waiting") == [other.pk]
    assert "No order found" in text(client.get(reverse("schedules:orders"), {"q": "nothing like it"}))


@pytest.mark.parametrize("name", ["schedules:order", "schedules:order-edit", "schedules:order-history"])
@pytest.mark.parametrize(
    ("who", "status"), [("customer", 404), ("witness", 404), ("administrator", 403), ("tester", 200)]
)
def test_strangers_find_nothing_and_colleagues_are_told(request, browser, order, name, who, status):
    client = browser(request.getfixturevalue(who))
    assert client.get(reverse(name, args=[order.pk])).status_code == status


def test_a_tester_may_not_review(send, tester, customer_company):
    order = an_order(customer=customer_company, by=tester)
    answer = send(tester, reverse("schedules:order-review", args=[order.pk]), version=1)
    assert answer.status_code == 403
    assert "Only approver may review contracts." in text(answer)
    assert not Entry.objects.filter(action="order.reviewed").exists()


def test_an_order_that_is_not_there_is_404(browser, tester):
    assert browser(tester).get(reverse("schedules:order", args=[999])).status_code == 404


@pytest.mark.parametrize("rows", [1, 7, 100])
def test_the_list_costs_the_same_for_1_7_and_100_rows(
    browser, tester, customer_company, rows, django_assert_num_queries
):
    for number in range(rows):
        made = an_order(customer=customer_company, by=tester, purchase_reference=f"PO {number}")
        a_unit(order=made, by=tester, serial=f"S{number}")
    client = browser(tester)
    with django_assert_num_queries(5):  # session, person, roles, how many orders, the orders
        client.get(reverse("schedules:orders"))


@pytest.mark.parametrize("rows", [1, 7, 100])
def test_an_order_costs_the_same_for_1_7_and_100_units(browser, tester, order, rows, django_assert_num_queries):
    for number in range(rows):
        a_unit(order=order, by=tester, serial=f"S{number}")
    client = browser(tester)
    with django_assert_num_queries(5):  # session, person, roles, the order, its units
        client.get(reverse("schedules:order", args=[order.pk]))
