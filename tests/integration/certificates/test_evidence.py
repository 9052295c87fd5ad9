"""Type tests of a sister: cited where what must be equal is equal and the test stands; else refused in words."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from labsite.ledger.models import Entry
from records.certificates.deviations import deviations_of
from records.certificates.readiness import missing_for_certificate
from records.models import Run
from records.selectors.evidence import candidates_for
from records.selectors.progress import unit_status
from records.services.evidence import cite_evidence, drop_evidence
from records.services.refusals import Refused, ValueRefused
from records.services.runs import start_run
from schedules.models import Evidence
from schedules.services.authorisations import grant_authorisation
from schedules.services.packs import set_rule_policy
from schedules.services.reviews import review_step
from schedules.services.units import edit_unit
from tests.integration.certificates import world
from tests.orders import REACTOR, a_plan, a_unit, an_order
from tests.people import person

pytestmark = pytest.mark.django_db
TYPED = REACTOR | {"tests": ["routine", "type"]}


@pytest.fixture
def order_with_types(customer_company, tester, approver):
    """Return a reviewed order."""
    return an_order(customer=customer_company, by=tester, reviewed_by=approver)


@pytest.fixture
def sister(order_with_types, tester):
    """Return a unit of design SR-15 with its plan."""
    return with_plan(order_with_types, tester, "SR-001")


@pytest.fixture
def unit(order_with_types, tester):
    """Return another of the same design."""
    return with_plan(order_with_types, tester, "SR-002")


def with_plan(order, tester, serial, design="SR-15", **ratings):
    made = a_unit(order=order, by=tester, serial=serial, design=design, ratings=TYPED | ratings)
    a_plan(unit=made, by=tester)
    return made


def impulse(unit):
    return unit.plans.get(is_current=True).steps.get(kind="lightning_impulse")


def approved(step, tester, second, verdict="conforms"):
    """Put an approved run of each arrangement of a step into the books."""
    return [
        Run.objects.create(
            number=f"R-{step.pk}-{arrangement.pk}-{Run.objects.count()}",
            step=step,
            arrangement=arrangement,
            bay=world.bay(),
            state="approved",
            verdict=verdict,
            operator=tester,
            second_person=second,
            started_at=world.NOW,
        )
        for arrangement in step.arrangements.all()
    ]


@pytest.fixture
def proved(sister, tester, second_tester):
    """Return the sister's impulse step with a run that stands."""
    approved(impulse(sister), tester, second_tester)
    return impulse(sister)


def test_a_sisters_test_is_cited_and_the_step_is_done(unit, proved, tester, second_tester, approver):
    step = impulse(unit)
    assert [one.reasons for one in candidates_for(step, tester)] == [()]
    with pytest.raises(PermissionDenied):
        cite_evidence(step=step, source_step=proved, reason="Same design", by=tester)
    with pytest.raises(ValueRefused):
        cite_evidence(step=step, source_step=proved, reason=" ", by=approver)
    cite_evidence(step=step, source_step=proved, reason="Same drawing and winding", by=approver)
    assert not [words for words in missing_for_certificate(unit) if words.startswith(step.title)]
    first = unit_status(unit).steps[0]
    assert (first.step, first.is_done) == (step, True)
    (told,) = [row for row in deviations_of(unit, step.plan, []) if row["kind"] == "Evidence"]
    assert "The type test of SR-001, of the same design SR-15, is cited: Same drawing and winding" in told["words"]
    with pytest.raises(Refused, match="cites evidence already"):
        cite_evidence(step=step, source_step=proved, reason="Again", by=approver)


def test_evidence_ends_with_the_sisters_test(unit, proved, tester, second_tester, approver):
    cite_evidence(step=impulse(unit), source_step=proved, reason="Same drawing", by=approver)
    approved(proved, tester, second_tester, "does_not_conform")
    assert [words for words in missing_for_certificate(unit) if words.startswith(proved.title)]
    assert not unit_status(unit).steps[0].is_done


def test_evidence_is_dropped_with_a_reason_and_kept_in_the_books(unit, proved, approver):
    evidence = cite_evidence(step=impulse(unit), source_step=proved, reason="Same drawing", by=approver)
    with pytest.raises(ValueRefused, match="Say why"):
        drop_evidence(evidence=evidence, reason="", by=approver)
    drop_evidence(evidence=evidence, reason="The winding differs", by=approver)
    with pytest.raises(Refused, match="dropped already"):
        drop_evidence(evidence=evidence, reason="Again", by=approver)
    assert Evidence.objects.count() == 1
    assert Entry.objects.filter(action="evidence.dropped").count() == 1
    assert [words for words in missing_for_certificate(unit) if words.startswith(proved.title)]
    cite_evidence(step=impulse(unit), source_step=proved, reason="It does not differ after all", by=approver)


def test_what_must_be_equal_decides(order_with_types, proved, tester, approver):
    other = with_plan(order_with_types, tester, "SR-003", highest_voltage_kv=15.0, lightning_impulse_kv=95)
    reasons = (
        "Highest voltage: 15 here, 15.5 there.",
        "Power-frequency level: 36 here, 50 there.",
        "Lightning impulse level (BIL): 95 here, 110 there.",
    )
    assert candidates_for(impulse(other), tester)[0].reasons == reasons
    with pytest.raises(Refused, match="What must be equal is not: Highest voltage: 15 here"):
        cite_evidence(step=impulse(other), source_step=proved, reason="Nearly", by=approver)


def test_a_sister_tested_for_a_lower_place_does_not_speak_for_a_higher_one(
    customer_company, tester, second_tester, approver
):
    """Levels by IEC 62271-1 (from memory) are raised for 2000 m: an impulse test at the rated level shows less."""
    order = an_order(customer=customer_company, by=tester, reviewed_by=approver, standards=["IEC 62271-1"])
    plate = {"highest_voltage_kv": 24, "lightning_impulse_kv": 125, "tests": ["type"], "temperature_rise_limit_k": 65}
    made = []
    for serial, more in (("MC-1", {}), ("MC-2", {"altitude_m": 2000.0}), ("MC-3", {"altitude_m": 2000.0})):
        levels = {"altitude_levels": "as_rated"} if serial == "MC-2" else {}
        unit = a_unit(
            order=order,
            by=tester,
            serial=serial,
            design="MC",
            equipment="metal_clad_switchgear",
            ratings=plate | more | levels,
        )
        a_plan(unit=unit, by=tester)
        made.append(impulse(unit))
    low, rated, high = made
    for step in (low, rated):
        approved(step, tester, second_tester)
    reasons = {one.step: one.reasons for one in candidates_for(high, tester)}
    assert reasons[low] == ("Altitude of the site: 2000 here, not stated there.",)
    assert reasons[rated] == ("Levels for the altitude: not stated here, as_rated there.",)


def test_other_designs_routine_tests_and_untested_sisters_are_refused(
    order_with_types, unit, sister, proved, tester, approver
):
    stranger = with_plan(order_with_types, tester, "SR-004", design="SR-20")
    with pytest.raises(Refused, match="Only a sister of the same design"):
        cite_evidence(step=impulse(stranger), source_step=proved, reason="Alike", by=approver)
    routine = unit.plans.get().steps.get(kind="partial_discharge")
    with pytest.raises(Refused, match="is no type test"):
        cite_evidence(step=routine, source_step=proved, reason="Alike", by=approver)
    with pytest.raises(Refused, match="is not the same test of a sister"):
        cite_evidence(step=impulse(unit), source_step=impulse(unit), reason="Itself", by=approver)
    with pytest.raises(Refused, match="no approved run that conforms"):
        cite_evidence(step=impulse(sister), source_step=impulse(unit), reason="Alike", by=approver)
    assert Evidence.objects.count() == 0


def test_pages_of_evidence(client, unit, proved, tester, approver):
    client.force_login(tester)
    page = client.get(reverse("records:evidence", args=[impulse(unit).pk]))
    assert "SR-001" in page.content.decode()
    assert "Cite it" not in page.content.decode()
    client.force_login(approver)
    assert "Cite it" in client.get(reverse("records:evidence", args=[impulse(unit).pk])).content.decode()
    assert "Evidence of a sister" in client.get(reverse("schedules:unit", args=[unit.pk])).content.decode()


def test_runs_that_a_review_lets_stand_speak_for_the_new_revision(unit, tester, second_tester, approver):
    for step in unit.plans.get().steps.all():
        approved(step, tester, second_tester)
    assert missing_for_certificate(unit) == []
    ratings = unit.ratings | {"charge_limit_pc": 50}
    edit_unit(unit=unit, version=1, changes={"ratings": ratings}, reason="Order revised", by=tester)
    unit.refresh_from_db()
    revised = a_plan(unit=unit, by=tester)
    assert len(missing_for_certificate(unit)) == 3
    for step in revised.steps.all():
        decision = "repeat" if step.kind == "partial_discharge" else "stands"
        review_step(step=step, decision=decision, reason="As read", by=approver)
    (missing,) = missing_for_certificate(unit)
    assert missing.startswith("Partial discharge")
    assert [step.is_done for step in unit_status(unit).steps] == [True, True, False]
    year = world.NOW.date()
    grant_authorisation(
        user=tester,
        kind="power_frequency_withstand",
        activity="perform",
        valid_from=year,
        valid_until=year.replace(year=2099),
        by=quality(tester),
    )
    carried = revised.steps.get(kind="power_frequency_withstand").arrangements.get()
    with pytest.raises(Refused, match="let the runs of the revision before stand"):
        start_run(arrangement=carried, bay=world.bay(), operator=tester, second_person=second_tester, by=tester)


def quality(tester):

    return person("quality2@withstand.example", "Quentin Hale", tester.organisation, "quality_manager")


def test_unconfirmed_rows_block_a_certificate_where_the_laboratory_says_so(unit, tester, second_tester):
    for step in unit.plans.get().steps.all():
        approved(step, tester, second_tester)
    assert missing_for_certificate(unit) == []
    set_rule_policy(blocks_certificates=True, version=1, reason="Audit finding 3", by=quality(tester))
    missing = missing_for_certificate(unit)
    assert missing[-1] == "The laboratory decided that this blocks a certificate: have the rows confirmed."
    assert any(words.startswith("Agreed levels for series reactors 1: ") for words in missing)
