"""Pages of plans: the proposal, adopting it, hold points, revisions."""

from datetime import date

import pytest
import time_machine
from django.urls import reverse

from equipment.models import Instrument
from equipment.services import assign_system, enter_calibration
from schedules.models import Plan
from schedules.services.bays import enter_bay
from schedules.services.units import edit_unit
from tests.orders import a_plan, a_unit, an_order

pytestmark = pytest.mark.django_db


def text(response):
    return response.content.decode()


def stages_shown(response):
    steps = response.context["steps"] if "steps" in response.context else response.context["detail"].steps
    return {stage["name"]: stage for sheet in steps for stage in sheet.stages}


def test_the_proposal_shows_the_practice_with_its_bases(browser, tester, unit):
    """Facts of the trade (common practice, no source): 50 kV 60 s; 25 kV; 10.74 kV, set as 10.75 kV."""
    answer = browser(tester).get(reverse("schedules:plan", args=[unit.pk]))
    page = text(answer)
    for cell in (
        "<strong>50.00</strong>",
        "<strong>25.00</strong>",
        "<strong>10.75</strong>",
        ">10.74</td>",
        ">60 s</td>",
    ):
        assert cell in page
    assert "common practice, no source" in page
    assert "1.2 * highest_voltage_kv / sqrt(3)" in page.replace("&#x27;", "'")
    assert "highest_voltage_kv = 15.5" in page
    assert stages_shown(answer)["withstand"]["hold_s"] == 60


@pytest.mark.parametrize("count", [1, 4])
def test_a_plan_says_what_it_can_be_measured_with_today(
    browser, tester, quality_manager, unit, count, django_assert_max_num_queries
):
    for place in range(count):
        made = Instrument.objects.create(
            identifier=f"HV-{place}", description="Divider (invented)", serial=str(place), quantity="voltage"
        )
        enter_calibration(
            instrument=made, laboratory="Tarn (invented)", certificate_number="K", relative_uncertainty_pct=1,
            calibrated_on=date(2026, 1, 10), due_on=date(2026, 6, 1) if place == 0 else date(2099, 1, 1),
            by=quality_manager,
        )  # fmt: skip
        assign_system(
            name=f"Chain {place}", quantity="voltage", instruments=[made], relative_uncertainty_pct=2,
            assigned_on=date(2026, 1, 11), by=quality_manager,
        )  # fmt: skip
    client = browser(tester)
    with time_machine.travel("2026-11-25T09:00:00Z", tick=True), django_assert_max_num_queries(16):
        page = text(client.get(reverse("schedules:plan", args=[unit.pk])))
    shown = page[page.index("What it can be measured with today") :]
    assert "HV-0: The calibration ended on 1 Jun 2026" in shown
    assert shown.count("May be used today") == count - 1
    assert "No measuring system is assigned" in shown  # for the charge


def test_adopting_freezes_what_was_read_and_the_unit_shows_it(browser, send, tester, unit):
    url = reverse("schedules:plan", args=[unit.pk])
    digest = browser(tester).get(url).context["proposal"].digest
    answer = send(tester, url, expected_digest=digest)
    assert answer["Location"] == reverse("schedules:unit", args=[unit.pk])
    assert Plan.objects.get().digest == digest
    page = text(browser(tester).get(answer["Location"]))
    assert "<strong>10.75</strong>" in page
    assert "Next: test" in page
    assert "the unit does not conform" in page
    assert "the test is not valid" in page


def test_another_plan_than_was_read_is_not_adopted(send, tester, unit):
    answer = send(tester, reverse("schedules:plan", args=[unit.pk]), expected_digest="0" * 64)
    assert "changed after you opened this plan" in answer.context["form"].non_field_errors()[0]
    assert not Plan.objects.exists()


def test_no_plan_before_the_review(browser, send, tester, customer_company):
    unit = a_unit(order=an_order(customer=customer_company, by=tester), by=tester)
    url = reverse("schedules:plan", args=[unit.pk])
    assert "waits for its review by an approver" in text(browser(tester).get(url))
    assert "was not reviewed yet" in text(send(tester, url))
    assert not Plan.objects.exists()


def test_a_document_without_a_pack_is_said_with_the_way_to_mend_it(browser, tester, customer_company):
    order = an_order(customer=customer_company, by=tester, standards=["IEEE C99.99"])
    unit = a_unit(order=order, by=tester)
    page = text(browser(tester).get(reverse("schedules:plan", args=[unit.pk])))
    assert "there is no rule pack for &#x27;IEEE C99.99&#x27;" in page
    assert reverse("schedules:order-edit", args=[order.pk]) in page


def test_a_plan_that_is_behind_says_so(browser, tester, unit):
    first = a_plan(unit=unit, by=tester)
    ratings = {"highest_voltage_kv": 15, "lightning_impulse_kv": 95}
    edit_unit(unit=unit, version=1, changes={"ratings": ratings}, reason="Plate misread", by=tester)
    assert "The plan is behind" in text(browser(tester).get(reverse("schedules:unit", args=[unit.pk])))
    a_plan(unit=unit, by=tester)
    assert "Replaced" in text(browser(tester).get(reverse("schedules:revision", args=[first.pk])))


def test_a_revision_names_digest_packs_and_bays(browser, tester, administrator, unit):
    plan = a_plan(unit=unit, by=tester)
    enter_bay(name="North", source_kv=100, source_kva=50, by=administrator)
    page = text(browser(tester).get(reverse("schedules:revision", args=[plan.pk])))
    assert plan.digest in page
    assert "North: can. 50 kV of 100 kV." in page


@pytest.fixture
def held(customer_company, tester, approver):
    """Return the hold point of a unit with its plan."""
    order = an_order(
        customer=customer_company, by=tester, reviewed_by=approver, hold_kinds=["power_frequency_withstand"]
    )
    return a_plan(unit=a_unit(order=order, by=tester), by=tester).steps.get(point="hold")


def test_an_approver_releases_a_hold_point_from_the_unit(browser, send, tester, approver, held):
    unit_url = reverse("schedules:unit", args=[held.plan.unit_id])
    url = reverse("schedules:release", args=[held.pk])
    assert url in text(browser(approver).get(unit_url))
    assert url not in text(browser(tester).get(unit_url))
    assert "held until released" in text(browser(tester).get(unit_url))
    assert "reason" in send(approver, url, reason="").context["form"].errors
    assert send(approver, url, reason="Drawing approved").status_code == 302
    page = text(browser(tester).get(unit_url))
    assert "Released by Amara Voss" in page
    assert "held until released" not in page


@pytest.mark.parametrize(
    ("who", "status"), [("customer", 404), ("witness", 404), ("administrator", 403), ("tester", 403)]
)
def test_others_release_nothing(request, send, held, who, status):
    answer = send(request.getfixturevalue(who), reverse("schedules:release", args=[held.pk]), reason="Mine")
    assert answer.status_code == status
    held.refresh_from_db()
    assert held.released_at is None


def test_the_unit_costs_the_same_with_one_and_with_seven_revisions(browser, tester, unit, django_assert_num_queries):
    client, url = browser(tester), reverse("schedules:unit", args=[unit.pk])
    a_plan(unit=unit, by=tester)
    # session, person, roles, unit, photographs, plans, who made them, steps, arrangements
    with django_assert_num_queries(10):
        client.get(url)
    for revision in range(6):
        rated = {"highest_voltage_kv": 15.5, "lightning_impulse_kv": 110, "rated_current_a": 100.0 + revision}
        unit = edit_unit(unit=unit, version=unit.version, changes={"ratings": rated}, reason="Plate", by=tester)
        a_plan(unit=unit, by=tester)
    with django_assert_num_queries(10):
        client.get(url)


HIGH = {
    "highest_voltage_kv": 24,
    "lightning_impulse_kv": 125,
    "altitude_m": 2000,
    "tests": ["routine", "type"],
    "temperature_rise_limit_k": 65,
}


def test_level_factor_and_set_point_stand_on_the_line_with_why(browser, tester, customer_company):
    """Ka at 2000 m from 1000 m is 1.1305 (IEC 62271-1, from memory): 125 kV becomes 141.32, set as 141.35 kV."""
    order = an_order(customer=customer_company, by=tester, standards=["IEC 62271-1"])
    unit = a_unit(order=order, by=tester, equipment="metal_enclosed_switchgear", ratings=HIGH)
    page = text(browser(tester).get(reverse("schedules:plan", args=[unit.pk])))
    for cell in ("<strong>141.35</strong>", ">125.00</td>", ">1.1305</td>", ">141.32</td>", "<strong>50.00</strong>"):
        assert cell in page
    assert "Set points are raised for the altitude of the site, factor 1.1305 (IEC 62271-1, from 1000 m)." in page
    assert "Set points are not raised for the altitude of the site" in page
    assert "Routine tests stay at the rated level" in page
    assert "the last five clear, else more" in page
    assert "set points of external insulation are not corrected for the air" in page


def test_what_no_step_tests_is_named_with_clause_and_confidence(browser, tester, customer_company):
    order = an_order(customer=customer_company, by=tester, standards=["IEC 62271-1"])
    unit = a_unit(order=order, by=tester, equipment="metal_enclosed_switchgear", ratings=HIGH)
    page = text(browser(tester).get(reverse("schedules:plan", args=[unit.pk])))
    assert "Asked for by the documents and not planned here" in page
    assert "<li>Mechanical operation: IEC 62271-1 2007+A1:2011, lists of tests of the document" in page


def test_the_later_capacitance_tells_with_what_it_is_compared(browser, tester, order):
    plate = {"highest_voltage_kv": 12, "rated_voltage_kv": 7.2, "capacitance_uf": 10, "terminal_to_case_kv": 28}
    unit = a_unit(
        order=order, by=tester, equipment="capacitor_unit", ratings=plate | {"dissipation_factor_limit": 0.001}
    )
    page = text(browser(tester).get(reverse("schedules:plan", args=[unit.pk])))
    assert "Its result is compared with that of step 1, Capacitance before the dielectric tests" in page


def test_an_adopted_revision_keeps_its_warnings_and_what_was_filled_in(browser, tester, approver, customer_company):
    order = an_order(customer=customer_company, by=tester, reviewed_by=approver, standards=["IEC 62271-1"])
    unit = a_unit(order=order, by=tester, equipment="metal_enclosed_switchgear", ratings=HIGH)
    page = text(browser(tester).get(reverse("schedules:revision", args=[a_plan(unit=unit, by=tester).pk])))
    assert "The site lies at 2000 m: the factor for external insulation is 1.1305." in page
    assert "Frequency was not stated: 50 Hz (usual for this table)." in page
    assert "Asked for by the documents and not planned here" in page
