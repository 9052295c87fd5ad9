"""Granting and ending authorisations, asking for them, and entering bays."""

from datetime import date, timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.utils import timezone

from labsite.ledger.errors import StaleEdit
from labsite.ledger.models import Entry
from schedules.models import Authorisation, Bay
from schedules.rules import derive_plan
from schedules.selectors import authorised, bay_fitness
from schedules.selectors.bays import fitness_of_document
from schedules.services.authorisations import correct_authorisation, end_authorisation, grant_authorisation
from schedules.services.bays import correct_bay, enter_bay
from schedules.services.plans import adopt_plan
from schedules.services.refusals import ScheduleRefused

pytestmark = pytest.mark.django_db
FIRST, LAST = date(2026, 3, 1), date(2099, 2, 28)


@pytest.fixture
def granted(tester, quality_manager):
    """Return the tester's authorisation to perform discharge tests."""
    return grant(tester, quality_manager)


def grant(user, by, **more):
    terms = {"kind": "partial_discharge", "activity": "perform", "valid_from": FIRST, "valid_until": LAST, **more}
    return grant_authorisation(user=user, by=by, **terms)


def test_both_days_are_included_and_reasons_name_the_person(granted, tester):
    ask = [FIRST - timedelta(days=1), FIRST, LAST, LAST + timedelta(days=1)]
    answers = [authorised(tester, "partial_discharge", "perform", on) for on in ask]
    assert [answer.is_authorised for answer in answers] == [False, True, True, False]
    assert [answer.reason for answer in answers] == [
        "The authorisation of Tove Brandt to perform partial discharge begins on 1 March 2026.",
        "Tove Brandt may perform partial discharge until 28 February 2099.",
        "Tove Brandt may perform partial discharge until 28 February 2099.",
        "The authorisation of Tove Brandt to perform partial discharge ended on 28 February 2099.",
    ]


def test_another_kind_activity_or_person_is_not_authorised(granted, tester, second_tester):
    assert authorised(tester, "partial_discharge", "approve", FIRST) == (
        False,
        "Tove Brandt holds no authorisation to approve partial discharge.",
    )
    assert not authorised(tester, "power_frequency_withstand", "perform", FIRST).is_authorised
    assert not authorised(second_tester, "partial_discharge", "perform", FIRST).is_authorised
    tester.is_active = False
    assert authorised(tester, "partial_discharge", "perform", FIRST) == (
        False,
        "The account of Tove Brandt is switched off.",
    )


def test_the_grant_is_in_the_ledger_and_only_the_quality_manager_makes_it(granted, second_tester, approver):
    assert Entry.objects.get(action="authorisation.granted").subject_id == str(granted.pk)
    with pytest.raises(PermissionDenied, match="Only quality manager may grant authorisations"):
        grant(second_tester, approver)
    assert Authorisation.objects.count() == 1


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"kind": "dance"}, "kind"),
        ({"activity": "watch"}, "activity"),
        ({"valid_until": FIRST - timedelta(days=1)}, "valid_until"),
        ({}, "valid_from"),
    ],
)
def test_grants_that_cannot_stand_are_refused_by_their_field(granted, tester, quality_manager, more, field):
    with pytest.raises(ScheduleRefused) as refused:
        grant(tester, quality_manager, **more)
    assert [one.field for one in refused.value.refusals] == [field]


def test_people_outside_technical_work_are_not_authorised(customer, quality_manager):
    with pytest.raises(ScheduleRefused, match="Clara Nyberg has no role in the laboratory's technical work"):
        grant(customer, quality_manager)


def test_an_authorisation_ends_early_with_a_reason(granted, quality_manager, tester):
    today = timezone.localdate()
    with pytest.raises(ScheduleRefused, match="Say why the authorisation ends"):
        end_authorisation(authorisation=granted, last_day=today, reason="", by=quality_manager)
    with pytest.raises(ScheduleRefused, match="It ends on 28 February 2099 anyway"):
        end_authorisation(authorisation=granted, last_day=LAST, reason="Left", by=quality_manager)
    with pytest.raises(ScheduleRefused, match="at the earliest"):
        end_authorisation(authorisation=granted, last_day=today - timedelta(days=2), reason="Left", by=quality_manager)
    with pytest.raises(PermissionDenied):
        end_authorisation(authorisation=granted, last_day=today, reason="Left", by=tester)
    ended = end_authorisation(authorisation=granted, last_day=today, reason="Left", by=quality_manager)
    assert ended.valid_until == today
    entry = Entry.objects.get(action="authorisation.ended")
    assert (entry.changes, entry.reason) == ({"valid_until": ["2099-02-28", today.isoformat()]}, "Left")


def test_bays_are_entered_by_administrator_or_quality_manager(administrator, quality_manager, tester):
    enter_bay(name="North", source_kv=100, source_kva=50, by=administrator)
    enter_bay(name="South", source_kv=30, source_kva=10, by=quality_manager)
    with pytest.raises(PermissionDenied, match="Only administrator or quality manager may enter bays"):
        enter_bay(name="East", source_kv=30, source_kva=10, by=tester)
    with pytest.raises(ScheduleRefused, match="There is a bay North already"):
        enter_bay(name="North", source_kv=30, source_kva=10, by=administrator)
    with pytest.raises(ScheduleRefused) as refused:
        enter_bay(name=" ", source_kv=float("nan"), source_kva=0, by=administrator)
    assert [one.field for one in refused.value.refusals] == ["source_kv", "source_kva", "name"]
    assert Bay.objects.count() == Entry.objects.filter(action="bay.entered").count() == 2


def test_a_bay_runs_the_steps_its_source_reaches(unit, tester, administrator):
    """The withstand test asks 50 kV and the discharge test 25 kV at most (common practice, no source)."""
    plan = adopt_plan(unit=unit, by=tester)
    bays = [
        enter_bay(name="Large", source_kv=100, source_kva=50, residual_discharge_pc=2, by=administrator),
        enter_bay(name="Loud", source_kv=100, source_kva=50, residual_discharge_pc=80, by=administrator),
        enter_bay(name="Small", source_kv=30, source_kva=10, residual_discharge_pc=2, by=administrator),
    ]
    fits = {line.title: {one.bay.name: one.is_fit for one in line.bays} for line in bay_fitness(plan, bays)}
    titles = {step.kind: step.title for step in plan.steps.all()}
    assert fits[titles["power_frequency_withstand"]] == {"Large": True, "Loud": True, "Small": False}
    assert fits[titles["partial_discharge"]] == {"Large": True, "Loud": False, "Small": True}


def test_an_impulse_generator_runs_the_impulse_step(unit, tester, administrator):
    unit.ratings |= {"tests": ["routine", "type"], "test_capacitance_nf": 2.0}
    unit.save(update_fields=["ratings"])
    plan = adopt_plan(unit=unit, by=tester)
    common = {"source_kv": 100, "source_kva": 50, "by": administrator}
    bays = [
        enter_bay(name="Impulse", generator_kv=400, generator_kj=20, **common),
        enter_bay(name="Weak", generator_kv=100, generator_kj=20, **common),
        enter_bay(name="None", **common),
    ]
    line = next(one for one in bay_fitness(plan, bays) if one.title.startswith("Lightning"))
    assert [(one.bay.name, one.is_fit) for one in line.bays] == [("Impulse", True), ("Weak", False), ("None", False)]
    assert line.bays[1].reason == "The impulse generator charges to 100 kV; the step needs 110 kV."
    assert line.asks == "110 kV crest, 0.0121 kJ into 2 nF (½CU²)"


CAN = {
    "equipment": "capacitor_unit",
    "highest_voltage_kv": 12,
    "rated_voltage_kv": 7.2,
    "capacitance_uf": 10,
    "terminal_to_case_kv": 28,
    "dissipation_factor_limit": 0.001,
    "terminal_test": "direct",
}


def test_a_direct_voltage_source_runs_the_direct_alternative(administrator):
    """IEEE 18, from memory: 4.3 times 7.2 kV, 30.96 kV; 10 µF · 31 kV / 5 mA takes 62 s."""
    common = {"source_kv": 100, "source_kva": 500, "by": administrator}
    bays = [
        enter_bay(name="Direct", direct_kv=40, direct_ma=5, **common),
        enter_bay(name="Low", direct_kv=30, direct_ma=5, **common),
        enter_bay(name="None", **common),
    ]
    document = derive_plan(CAN).as_dict()
    (line,) = [one for one in fitness_of_document(document, bays) if "direct voltage" in one.title]
    (stage,) = next(one for one in document["steps"] if one["title"] == line.title)["procedure"]["stages"]
    level = stage["set_point_kv"]
    assert level == pytest.approx(30.96, abs=0.05)
    assert (line.voltage_kv, line.asks) == (level, f"{level:.4g} kV direct voltage")
    assert [(one.is_fit, one.reason) for one in line.bays] == [
        (True, f"{level:g} kV of 40 kV direct voltage, charged in {10_000 * level / 5 / 1000:.3g} s at 5 mA (CU/I)."),
        (False, f"The direct-voltage source gives 30 kV; the step needs {level:.4g} kV."),
        (False, f"There is no direct-voltage source; the step needs {level:.4g} kV."),
    ]


@pytest.mark.parametrize(("half", "field"), [({"direct_kv": 40}, "direct_ma"), ({"direct_ma": 5}, "direct_kv")])
def test_half_a_direct_voltage_source_is_refused(administrator, half, field):
    with pytest.raises(ScheduleRefused, match="give both, or neither") as refused:
        enter_bay(name="Half", source_kv=100, source_kva=50, by=administrator, **half)
    assert [one.field for one in refused.value.refusals] == [field]
    bay = enter_bay(name="Whole", source_kv=100, source_kva=50, direct_kv=40, direct_ma=5, by=administrator)
    with pytest.raises(IntegrityError), transaction.atomic():
        Bay.objects.filter(pk=bay.pk).update(direct_ma=None)


def test_the_charging_power_of_the_unit_counts(unit, tester, administrator):
    """Arithmetic: 2 nF at 50 kV and 60 Hz take 37.7 mA and 1.885 kVA."""
    unit.ratings |= {"test_capacitance_nf": 2.0, "frequency_hz": 60.0}
    unit.save(update_fields=["ratings"])
    plan = adopt_plan(unit=unit, by=tester)
    bays = [enter_bay(name="Small", source_kv=100, source_kva=1.8, by=administrator)]
    line = bay_fitness(plan, bays)[0]
    assert line.asks == "50 kV, 37.7 mA (ωCU) and 1.885 kVA (ωCU²) for 2 nF"
    assert line.bays[0].reason == "The source gives 1.8 kVA; the step needs 1.885 kVA."


def test_a_bay_is_corrected_with_a_reason(administrator, tester):
    bay = enter_bay(name="North", source_kv=100, source_kva=50, by=administrator)
    enter_bay(name="South", source_kv=100, source_kva=50, by=administrator)
    changes = {"source_kv": 120.0, "generator_kv": 400.0, "generator_kj": 20.0}
    with pytest.raises(PermissionDenied):
        correct_bay(bay=bay, version=1, changes=changes, reason="New transformer", by=tester)
    with pytest.raises(ScheduleRefused, match="Say why"):
        correct_bay(bay=bay, version=1, changes=changes, reason=" ", by=administrator)
    with pytest.raises(ScheduleRefused, match="give both, or neither"):
        correct_bay(bay=bay, version=1, changes={"generator_kv": 400.0}, reason="New", by=administrator)
    with pytest.raises(ScheduleRefused, match="There is a bay South already"):
        correct_bay(bay=bay, version=1, changes={"name": "South"}, reason="New", by=administrator)
    with pytest.raises(ScheduleRefused, match="no field to change named colour"):
        correct_bay(bay=bay, version=1, changes={"colour": "grey"}, reason="New", by=administrator)
    corrected = correct_bay(bay=bay, version=1, changes=changes, reason="New transformer", by=administrator)
    assert (corrected.source_kv, corrected.generator_kj, corrected.version) == (120, 20, 2)
    assert Entry.objects.get(action="bay.corrected").reason == "New transformer"
    with pytest.raises(StaleEdit):
        correct_bay(bay=bay, version=1, changes={"source_kv": 90.0}, reason="Late", by=administrator)


def test_an_authorisation_is_corrected_with_a_reason(granted, quality_manager, tester):
    with pytest.raises(PermissionDenied):
        correct_authorisation(authorisation=granted, version=1, changes={}, reason="Typing error", by=tester)
    with pytest.raises(ScheduleRefused, match="Say what was wrong"):
        correct_authorisation(authorisation=granted, version=1, changes={}, reason="", by=quality_manager)
    changes = {"kind": "capacitance"}
    corrected = correct_authorisation(
        authorisation=granted, version=1, changes=changes, reason="Typing error", by=quality_manager
    )
    assert corrected.kind == "capacitance"
    assert Entry.objects.get(action="authorisation.corrected").changes == {"kind": [granted.kind, "capacitance"]}
    with pytest.raises(StaleEdit):
        correct_authorisation(
            authorisation=granted, version=1, changes={"kind": "inductance"}, reason="Late", by=quality_manager
        )
    with pytest.raises(ScheduleRefused, match="The end lies before the start"):
        correct_authorisation(
            authorisation=granted,
            version=2,
            changes={"valid_until": granted.valid_from - timedelta(days=1)},
            reason="Wrong",
            by=quality_manager,
        )
