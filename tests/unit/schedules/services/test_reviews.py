"""Revisions of a plan: what they change, and what a review lets stand."""

import pytest
from django.core.exceptions import PermissionDenied

from labsite.ledger.models import Entry
from labsite.ledger.services import writing
from schedules.models import Arrangement, Plan, RevisionReview, Unit
from schedules.selectors.revisions import differences_to, earlier_step_of, revision_change
from schedules.selectors.units import unit_detail
from schedules.services.plans import adopt_plan, propose_plan
from schedules.services.refusals import ScheduleRefused
from schedules.services.reviews import review_step
from schedules.services.units import edit_unit, note_finished

pytestmark = pytest.mark.django_db


@pytest.fixture
def revised(unit, tester):
    """Return the second revision of a plan: the charge limit went from 100 to 50 pC."""
    adopt_plan(unit=unit, by=tester)
    ratings = unit.ratings | {"charge_limit_pc": 50}
    changed = edit_unit(unit=unit, version=1, changes={"ratings": ratings}, reason="Order revised", by=tester)
    return adopt_plan(unit=changed, reason="Order revised", by=tester)


def test_a_revision_tells_what_it_changes(revised):
    change = revision_change(revised)
    assert change.differences.ratings == ("Charge limit: not stated, now 50 pC.",)
    withstand, discharge = change.lines
    assert (withstand.difference.state, withstand.difference.changes) == ("same", ())
    assert discharge.difference.changes[0] == ("limit of apparent charge, measurement: at most 100 pC, now 50 pC")
    assert change.gone == []


def test_the_proposal_tells_what_it_would_change(unit, tester):
    adopt_plan(unit=unit, by=tester)
    assert differences_to(unit, propose_plan(unit)).is_none
    other = unit.ratings | {"highest_voltage_kv": 15.0, "lightning_impulse_kv": 95}
    changed = edit_unit(unit=unit, version=1, changes={"ratings": other}, reason="Plate misread", by=tester)
    found = differences_to(changed, propose_plan(changed))
    assert "Highest voltage: 15.5 kV, now 15 kV." in found.ratings
    assert "withstand, set point: 50 kV, now 36 kV" in found.steps[0].changes


def test_what_stands_is_carried_over_and_what_does_not_is_repeated(revised, approver):
    withstand, discharge = revised.steps.all()
    stands = review_step(step=withstand, decision="stands", reason="Nothing changed in it", by=approver)
    assert stands.earlier_step == earlier_step_of(withstand)
    review_step(step=discharge, decision="repeat", reason="A lower limit", by=approver)
    carried = dict(Arrangement.objects.filter(step__plan=revised).values_list("step__kind", "carried_from__step"))
    assert carried == {"power_frequency_withstand": stands.earlier_step.pk, "partial_discharge": None}
    assert Entry.objects.filter(action="step.reviewed").count() == 2
    with pytest.raises(ScheduleRefused, match="was reviewed already"):
        review_step(step=withstand, decision="repeat", reason="Again", by=approver)


def test_a_third_revision_stands_on_the_first_ones_runs(unit, revised, tester, approver):
    withstand = revised.steps.first()
    review_step(step=withstand, decision="stands", reason="The same", by=approver)
    first = Arrangement.objects.get(step=earlier_step_of(withstand))
    unit.refresh_from_db()
    ratings = unit.ratings | {"charge_limit_pc": 20}
    edit_unit(unit=unit, version=unit.version, changes={"ratings": ratings}, reason="Again", by=tester)
    third = adopt_plan(unit=unit, reason="Again", by=tester)
    review_step(step=third.steps.first(), decision="stands", reason="The same", by=approver)
    assert third.steps.first().arrangements.get().carried_from == first


def test_what_a_review_refuses(unit, revised, tester, approver, customer_company):
    step = revised.steps.first()
    with pytest.raises(PermissionDenied):
        review_step(step=step, decision="stands", reason="The same", by=tester)
    with pytest.raises(ScheduleRefused, match="Say why"):
        review_step(step=step, decision="stands", reason=" ", by=approver)
    with pytest.raises(ScheduleRefused, match="Decide"):
        review_step(step=step, decision="perhaps", reason="The same", by=approver)
    older = unit.plans.get(revision=1).steps.first()
    with pytest.raises(ScheduleRefused, match="older revision"):
        review_step(step=older, decision="stands", reason="The same", by=approver)
    revised.made_by = approver
    revised.save(update_fields=["made_by"])
    with pytest.raises(ScheduleRefused, match="You adopted this revision"):
        review_step(step=step, decision="stands", reason="The same", by=approver)
    assert RevisionReview.objects.count() == 0


def test_the_first_revision_has_nothing_to_review(unit, tester, approver):
    plan = adopt_plan(unit=unit, by=tester)
    assert revision_change(plan) is None
    with pytest.raises(ScheduleRefused, match="The revision before has no"):
        review_step(step=plan.steps.first(), decision="stands", reason="The same", by=approver)


def test_a_plan_is_not_behind_because_a_release_tells_more_of_it(unit, tester):
    """Keys and words that a release adds to the document change its digest and nothing that is tested."""
    plan = adopt_plan(unit=unit, by=tester)
    older = {name: value for name, value in plan.document.items() if name not in ("not_planned", "workings")}
    older |= {"notes": ["As an earlier release said it."]}
    Plan.objects.filter(pk=plan.pk).update(document=older, digest="0" * 64)
    assert unit_detail(Unit.objects.get(pk=unit.pk)).next_deed == ""
    older["packs"] = [pack | {"sha256": "1" * 64} for pack in older["packs"]]
    Plan.objects.filter(pk=plan.pk).update(document=older)
    assert unit_detail(Unit.objects.get(pk=unit.pk)).next_deed == "replan"


def test_a_finished_unit_is_not_called_behind(unit, tester, approver):
    adopt_plan(unit=unit, by=tester)
    unit.ratings = unit.ratings | {"charge_limit_pc": 20}
    unit.save(update_fields=["ratings"])
    assert unit_detail(unit).next_deed == "replan"
    with writing():
        note_finished(unit=unit, is_finished=True, by=approver)
    unit.refresh_from_db()
    assert unit_detail(unit).next_deed == "finished"
    with writing():
        note_finished(unit=unit, is_finished=False, by=approver)
    unit.refresh_from_db()
    assert unit_detail(unit).next_deed == "replan"
    assert Entry.objects.filter(action="unit.finished").count() == 2
