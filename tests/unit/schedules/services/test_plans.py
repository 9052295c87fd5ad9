"""Proposing and adopting plans, and releasing hold points."""

import hashlib

import pytest
import rfc8785
from django.core.exceptions import PermissionDenied

from labsite.ledger.models import Entry
from schedules.models import Plan
from schedules.services.orders import edit_order, review_contract
from schedules.services.plans import adopt_plan, propose_plan, release_hold_point
from schedules.services.refusals import ScheduleRefused
from schedules.services.units import edit_unit
from tests.orders import a_unit, an_order

pytestmark = pytest.mark.django_db


def stages_of(document, kind):
    return next(step for step in document["steps"] if step["kind"] == kind)["procedure"]["stages"]


def test_the_practice_for_15_5_kv_and_110_kv_bil(unit):
    """Facts of the trade (common practice, no source): 50 kV for 60 s; 25 kV; 10.74 kV, set at 10.75 kV."""
    document = propose_plan(unit)
    withstand = stages_of(document, "power_frequency_withstand")[0]
    assert (withstand["voltage_kv"], withstand["hold_s"]) == (50.0, 60)
    prestress, measurement = stages_of(document, "partial_discharge")
    assert prestress["voltage_kv"] == 25.0
    assert (measurement["voltage_kv"], measurement["set_point_kv"], measurement["hold_s"]) == (10.74, 10.75, 120)


def test_the_order_settles_rule_and_points(customer_company, tester, approver):
    order = an_order(
        customer=customer_company,
        by=tester,
        reviewed_by=approver,
        decision_rule="guard_band",
        hold_kinds=["power_frequency_withstand"],
        witness_kinds=["partial_discharge"],
    )
    document = propose_plan(a_unit(order=order, by=tester))
    assert {step["kind"]: step["point"] for step in document["steps"]} == {
        "power_frequency_withstand": "hold",
        "partial_discharge": "witness",
    }
    judged = [one for step in document["steps"] for one in step["procedure"]["criteria"] if one["judges"] == "unit"]
    assert judged
    assert {one["decision"] for one in judged} == {"guard_band"}


def test_a_document_without_a_pack_is_refused_by_its_name(customer_company, tester):
    order = an_order(customer=customer_company, by=tester, standards=["IEEE C99.99"])
    unit = a_unit(order=order, by=tester)
    with pytest.raises(ScheduleRefused) as refused:
        propose_plan(unit)
    assert refused.value.refusals[0].field == "standards"
    assert "'IEEE C99.99'" in refused.value.words


def test_a_plan_is_frozen_with_digest_steps_and_arrangements(unit, tester):
    plan = adopt_plan(unit=unit, by=tester)
    assert plan.document == propose_plan(unit)
    assert plan.digest == hashlib.sha256(rfc8785.dumps(plan.document)).hexdigest()
    kept = Plan.objects.get(pk=plan.pk)
    assert hashlib.sha256(rfc8785.dumps(kept.document)).hexdigest() == plan.digest
    assert [(step.position, step.document) for step in kept.steps.all()] == list(
        enumerate(plan.document["steps"], start=1)
    )
    for step in kept.steps.all():
        named = [(one.name, one.energised, one.earthed) for one in step.arrangements.all()]
        planned = step.document["arrangements"]
        assert named == [(one["name"], one["energised"], one["earthed"]) for one in planned]
        assert named
    entry = Entry.objects.get(action="plan.adopted")
    assert entry.changes["digest"] == [None, plan.digest]


def test_no_plan_before_the_contract_review(customer_company, tester):
    order = an_order(customer=customer_company, by=tester)
    unit = a_unit(order=order, by=tester)
    with pytest.raises(ScheduleRefused, match=r"The contract of O-\d+-\d+ was not reviewed yet"):
        adopt_plan(unit=unit, by=tester)
    assert not Plan.objects.exists()


def test_a_new_revision_retires_the_one_before(unit, tester):
    first = adopt_plan(unit=unit, by=tester)
    with pytest.raises(ScheduleRefused, match="Revision 1 is this very plan; nothing was changed"):
        adopt_plan(unit=unit, by=tester)
    ratings = {"highest_voltage_kv": 15, "lightning_impulse_kv": 95}
    edit_unit(unit=unit, version=1, changes={"ratings": ratings}, reason="Plate misread", by=tester)
    second = adopt_plan(unit=unit, by=tester)
    first.refresh_from_db()
    assert (first.is_current, second.is_current, second.revision) == (False, True, 2)
    assert first.digest != second.digest
    assert Entry.objects.filter(action="plan.replaced").count() == 1


def test_a_plan_other_than_the_one_shown_is_not_adopted(unit, tester):
    with pytest.raises(ScheduleRefused, match="changed after you opened this plan"):
        adopt_plan(unit=unit, expected_digest="0" * 64, by=tester)


@pytest.mark.parametrize("who", ["customer", "witness", "administrator"])
def test_people_outside_technical_work_adopt_no_plans(request, unit, who):
    with pytest.raises(PermissionDenied, match="may adopt plans"):
        adopt_plan(unit=unit, by=request.getfixturevalue(who))


@pytest.fixture
def held_step(order, unit, tester, approver):
    """Return the withstand test of a plan that the tester adopted, as a hold point."""
    changes = {"hold_kinds": ["power_frequency_withstand"]}
    order = edit_order(order=order, version=order.version, changes=changes, reason="Agreed by letter", by=tester)
    review_contract(order=order, by=approver)
    return adopt_plan(unit=unit, by=tester).steps.get(kind="power_frequency_withstand")


def test_an_approver_releases_a_hold_point_once(held_step, approver):
    step = release_hold_point(step=held_step, reason=" Drawing approved ", by=approver)
    assert (step.released_by, step.release_reason) == (approver, "Drawing approved")
    entry = Entry.objects.get(action="step.released")
    assert (entry.reason, entry.changes["released_by"][0]) == ("Drawing approved", None)
    with pytest.raises(ScheduleRefused, match="already released by Amara Voss"):
        release_hold_point(step=held_step, reason="Again", by=approver)


def test_a_release_needs_a_reason_an_approver_and_a_hold_point(held_step, approver, tester):
    with pytest.raises(ScheduleRefused, match="Say why the hold point may be passed"):
        release_hold_point(step=held_step, reason=" ", by=approver)
    with pytest.raises(PermissionDenied, match="Only approver may release hold points"):
        release_hold_point(step=held_step, reason="Because", by=tester)
    other = held_step.plan.steps.get(kind="partial_discharge")
    with pytest.raises(ScheduleRefused, match="is no hold point; it needs no release"):
        release_hold_point(step=other, reason="Because", by=approver)
    assert not Entry.objects.filter(action="step.released").exists()


def test_who_adopted_the_plan_does_not_release_its_hold_points(order, unit, tester, approver):
    changes = {"hold_kinds": ["partial_discharge"]}
    order = edit_order(order=order, version=order.version, changes=changes, reason="Agreed by letter", by=tester)
    review_contract(order=order, by=approver)
    step = adopt_plan(unit=unit, by=approver).steps.get(kind="partial_discharge")
    with pytest.raises(ScheduleRefused, match="Somebody else has to release its hold points"):
        release_hold_point(step=step, reason="Mine", by=approver)


def test_steps_of_an_older_revision_are_not_released(held_step, unit, tester, approver):
    ratings = {"highest_voltage_kv": 15, "lightning_impulse_kv": 95}
    edit_unit(unit=unit, version=1, changes={"ratings": ratings}, reason="Plate misread", by=tester)
    adopt_plan(unit=unit, by=tester)
    with pytest.raises(ScheduleRefused, match="older revision"):
        release_hold_point(step=held_step, reason="Late", by=approver)
