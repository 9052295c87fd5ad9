"""Entering, changing and reviewing an order: allowed, refused, and what the ledger says."""

import pytest
from django.core.exceptions import PermissionDenied

from labsite.ledger.models import Entry
from labsite.ledger.services import StaleEdit
from schedules.models import Order
from schedules.services.orders import edit_order, enter_order, review_contract
from schedules.services.refusals import ScheduleRefused
from tests.orders import a_unit, an_order

pytestmark = pytest.mark.django_db


def entries(action):
    return list(Entry.objects.filter(action=action).order_by("sequence"))


def test_an_order_is_entered_under_the_next_number_with_its_entry(customer_company, tester):
    first = enter_order(
        customer=customer_company,
        purchase_reference="  PO 1 ",
        standards=["IEEE C37.20.3", " ", "IEEE C37.20.3"],
        hold_kinds=["partial_discharge"],
        by=tester,
    )
    second = an_order(customer=customer_company, by=tester)
    assert (first.purchase_reference, first.standards) == ("PO 1", ["IEEE C37.20.3"])
    assert int(second.number[-4:]) == int(first.number[-4:]) + 1
    entry = entries("order.entered")[0]
    assert entry.actor == tester
    assert entry.changes["purchase_reference"] == [None, "PO 1"]
    assert entry.subject_label == first.number


@pytest.mark.parametrize("who", ["customer", "witness", "administrator"])
def test_people_outside_technical_work_enter_no_orders(request, who, customer_company):
    with pytest.raises(PermissionDenied, match="Only approver, quality manager or tester may enter orders"):
        an_order(customer=customer_company, by=request.getfixturevalue(who))
    assert not Order.objects.exists()
    assert not Entry.objects.exists()


@pytest.mark.parametrize(
    ("terms", "field", "words"),
    [
        ({"purchase_reference": " "}, "purchase_reference", "Give the customer's own reference of the purchase."),
        ({"purchase_reference": "x" * 121}, "purchase_reference", "Shorten the purchase reference to 120 characters."),
        (
            {"decision_rule": "coin"},
            "decision_rule",
            "Choose one of simple_acceptance, guard_band, iso_14253, three_sigma, six_sigma, non_critical, "
            "customer_defined.",
        ),
        (
            {"decision_rule": "customer_defined"},
            "guard_factor",
            "Give r of the guard band w = r·U that the customer named.",
        ),
        ({"guard_factor": 0.5}, "guard_factor", "Only the customer's own rule has a factor; leave it empty."),
        (
            {"decision_rule": "customer_defined", "guard_factor": 40.0},
            "guard_factor",
            "Give a number from -3 to 10.",
        ),
        ({"statements": "five_states"}, "statements", "Choose one of two_states, four_states."),
        (
            {"statements": "four_states"},
            "statements",
            "Four states need a guard band: without one nothing lies between pass and fail.",
        ),
        (
            {"statements": "four_states", "decision_rule": "customer_defined", "guard_factor": 0.0},
            "statements",
            "Four states need a guard band: without one nothing lies between pass and fail.",
        ),
        (
            {"discharge_procedure": "none"},
            "discharge_procedure",
            "Choose one of agreed_practice, ieee_guide, procedure_a, procedure_b.",
        ),
        ({"hold_kinds": ["dance"]}, "hold_kinds", "There is no kind of test named dance."),
        (
            {"hold_kinds": ["partial_discharge"], "witness_kinds": ["partial_discharge"]},
            "witness_kinds",
            "Partial discharge: a hold point or a witness point, not both.",
        ),
    ],
)
def test_terms_that_make_no_sense_are_refused_by_their_field(customer_company, tester, terms, field, words):
    with pytest.raises(ScheduleRefused) as refused:
        an_order(customer=customer_company, by=tester, **terms)
    assert [(one.field, one.words) for one in refused.value.refusals] == [(field, words)]
    assert not Order.objects.exists()


def test_the_laboratory_is_no_customer_of_its_own(laboratory_company, tester):
    with pytest.raises(ScheduleRefused, match="is the laboratory itself, not a customer"):
        an_order(customer=laboratory_company, by=tester)


def test_an_approver_reviews_once_and_the_entry_says_so(customer_company, tester, approver):
    order = an_order(customer=customer_company, by=tester)
    with pytest.raises(PermissionDenied, match="Only approver may review contracts"):
        review_contract(order=order, by=tester)
    reviewed = review_contract(order=order, version=order.version, by=approver)
    assert reviewed.reviewed_by == approver
    assert reviewed.is_reviewed
    assert len(entries("order.reviewed")) == 1
    with pytest.raises(ScheduleRefused, match="already reviewed by Amara Voss"):
        review_contract(order=order, by=approver)


def test_nobody_reviews_terms_that_changed_under_the_eyes(customer_company, tester, approver):
    order = an_order(customer=customer_company, by=tester)
    edit_order(order=order, version=1, changes={"remarks": "urgent"}, by=tester)
    with pytest.raises(ScheduleRefused, match="changed after you opened it"):
        review_contract(order=order, version=1, by=approver)


def test_agreed_terms_after_the_review_need_a_reason_and_a_new_review(order, tester):
    changes = {"decision_rule": "guard_band"}
    with pytest.raises(ScheduleRefused) as refused:
        edit_order(order=order, version=order.version, changes=changes, by=tester)
    assert refused.value.refusals[0].field == "reason"
    changed = edit_order(
        order=order, version=order.version, changes=changes, reason="Customer's letter of 3 March", by=tester
    )
    assert not changed.is_reviewed
    assert changed.reviewed_by is None
    entry = entries("order.changed")[0]
    assert entry.changes["decision_rule"] == ["simple_acceptance", "guard_band"]
    assert entry.reason == "Customer's letter of 3 March"
    assert entry.changes["reviewed_at"][1] is None


def test_other_fields_keep_the_review(order, tester):
    changed = edit_order(order=order, version=order.version, changes={"remarks": "Deliver in spring"}, by=tester)
    assert changed.is_reviewed
    assert changed.remarks == "Deliver in spring"


def test_a_stale_edit_shows_both_values_and_stores_neither(order, tester, second_tester):
    seen = order.version
    edit_order(order=order, version=seen, changes={"remarks": "first"}, by=tester)
    with pytest.raises(StaleEdit) as stale:
        edit_order(order=order, version=seen, changes={"remarks": "second"}, by=second_tester)
    assert [(one.current, one.yours) for one in stale.value.conflicts] == [("first", "second")]
    assert Order.objects.get(pk=order.pk).remarks == "first"


def test_only_fields_of_the_form_are_set(order, tester):
    with pytest.raises(ScheduleRefused, match="no field to change named number, reviewed_by"):
        edit_order(order=order, version=order.version, changes={"number": "O-1", "reviewed_by": tester}, by=tester)


def test_an_order_with_units_keeps_its_customer(order, tester, other_customer):
    a_unit(order=order, by=tester)
    with pytest.raises(ScheduleRefused, match="The customer of an order with units stays"):
        edit_order(
            order=order,
            version=order.version,
            changes={"customer": other_customer.organisation},
            reason="Sold on",
            by=tester,
        )
