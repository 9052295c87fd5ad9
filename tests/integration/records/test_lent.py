"""The cold resistance of a temperature rise: which earlier run lends it is seen, chosen, and stated otherwise."""

from __future__ import annotations

import pytest
from django.urls import reverse

from labsite.jobs.services import run_waiting
from records.evaluation.slow_synthesis import Disturbance, Winding, synthesise_cooling, synthesise_table
from records.evaluation.writing import csv_text
from records.models import Finding, Run
from records.selectors.digests import current_evaluation, setup_document
from records.selectors.earlier import LENDER, lenders_of
from records.selectors.sheet import run_sheet
from records.selectors.stated import value_rows
from records.services.recomputing import recompute_findings
from records.services.refusals import Refused
from records.services.stated import state_values
from schedules.models import Arrangement, Step
from tests.integration.records import laboratory

pytestmark = pytest.mark.django_db
KINDS = ("winding_resistance", "temperature_rise")
WINDING = {"material": "copper", "reference_temperature_c": 75}
RISE = {"material": "copper", "shutdown_s": 0, "criteria": [{"quantity": "temperature_rise_k", "max": 80}]}
COOLING = csv_text(synthesise_cooling(Winding(), Disturbance(noise=2e-5, step=1e-5), ambient_c=25.0))
PHASES = ("phase A", "phase B", "phase C")
# 0.421 Ω at 22.5 °C are 0.421 (235 + 75)/(235 + 22.5) Ω at 75 °C
AT_75 = 0.421 * 310 / 257.5


@pytest.fixture
def step(unit, people, tester):
    """Return how to add a step with its arrangements and to open a run of one of them."""
    laboratory.authorise(people[0], *KINDS)
    system = laboratory.system("resistance", "W-1", entered_by=tester)
    plan = unit.plans.get(is_current=True)

    def added(kind, procedure, *names):
        document = {"kind": kind, "title": kind, "procedure": {"criteria": [], **procedure}}
        step = Step.objects.create(plan=plan, position=plan.steps.count() + 1, kind=kind, title=kind, document=document)
        for place, name in enumerate(names, start=1):
            Arrangement.objects.create(step=step, position=place, name=name)

        def opened(name):
            return laboratory.Way(step.arrangements.get(name=name), *people).prepare(system).open()

        return opened

    return added


def approved(way, *readings_ohm):
    """Upload the resistance of each winding at 22.5 °C and let the run stand."""
    for place, ohm in enumerate(readings_ohm):
        part = ("", "phase_b", "phase_c")[place]
        table = synthesise_table({"resistance_ohm": ohm, "temperature_c": 22.5})
        way.upload(csv_text(table), f"{place}.csv", part=part)
    Run.objects.filter(pk=way.run.pk).update(state=Run.State.APPROVED, verdict="conforms")
    return way.now.number


def rise_of(way):
    return Finding.objects.get(evaluation=current_evaluation(way.now), quantity="temperature_rise_k")


@pytest.fixture
def three_phases(step):
    """Return the numbers of three runs, one for each phase, and a run of the rise of all phases together."""
    winding = step("winding_resistance", WINDING, *PHASES)
    rise = step("temperature_rise", RISE, "all phases together")
    numbers = [approved(winding(name), ohm) for name, ohm in zip(PHASES, (0.418, 0.421, 0.425), strict=True)]
    return numbers, rise("all phases together")


def test_of_three_windings_a_person_chooses_the_one_whose_cooling_it_is(three_phases, client):
    numbers, way = three_phases
    way.upload(COOLING)
    lacking = "The cold resistance and the temperature of the cold resistance are not stated"
    assert rise_of(way).reason.startswith(lacking)  # nobody but a person knows which winding was read
    client.force_login(way.operator)
    address = f"{reverse('records:run', args=[way.run.pk])}?at=values"
    page = client.get(address).content.decode()
    assert "Cold resistance from run" in page
    assert f"{AT_75:.6g} Ω at 75 °C, of run {numbers[1]}, phase B" in page
    answer = client.post(reverse("records:values", args=[way.run.pk]), {LENDER: numbers[1]})
    assert answer.status_code == 302
    run_waiting()
    setup = setup_document(way.now)
    assert (setup["cold_resistance_ohm"], setup["cold_temperature_c"]) == (pytest.approx(AT_75), 75.0)
    # R_hot/R_cold · (235 + 75) − (235 + 25): the same as from 0.421 Ω at 22.5 °C
    assert rise_of(way).value == pytest.approx(Winding().hot_ohm / AT_75 * 310 - 260, abs=0.1)
    assert ("Cold resistance", f"{AT_75:.6g} Ω at 75 °C, of run {numbers[1]}, phase B, as measured there") in (
        value_rows(way.now)
    )
    detail = next(row.detail for row in run_sheet(way.now).steps if row.key == "values")
    assert detail == f"cold resistance from run {numbers[1]}"
    assert f"of run {numbers[1]}, phase B, as measured there" in client.get(address).content.decode()
    assert recompute_findings().is_same


def test_a_value_that_is_stated_goes_before_and_takes_no_temperature_from_another(three_phases):
    numbers, way = three_phases
    state_values(run=way.run, values={LENDER: numbers[1], "cold_resistance_ohm": 0.5}, by=way.operator)
    assert "cold_temperature_c" not in setup_document(way.now)
    way.upload(COOLING)
    assert rise_of(way).reason.startswith("The temperature of the cold resistance is not stated")
    state_values(run=way.run, values={"cold_resistance_ohm": 0.421, "cold_temperature_c": 22.5}, by=way.operator)
    run_waiting()
    assert rise_of(way).value == pytest.approx(Winding().hot_ohm / 0.421 * 257.5 - 260, abs=0.1)


def test_only_a_run_that_stands_can_be_chosen_and_one_that_fell_lends_no_more(three_phases):
    numbers, way = three_phases
    with pytest.raises(Refused):
        state_values(run=way.run, values={LENDER: way.now.number}, by=way.operator)
    state_values(run=way.run, values={LENDER: numbers[0]}, by=way.operator)
    Run.objects.filter(number=numbers[0]).update(state=Run.State.ABANDONED)
    assert "cold_resistance_ohm" not in setup_document(way.now)
    assert [one.run for one in lenders_of(way.now)] == [numbers[2], numbers[1]]  # the newest first


@pytest.mark.parametrize("name", ["all phases together", "single phase", "three-phase supply"])
def test_of_one_winding_the_run_lends_whatever_the_arrangements_are_called(step, name):
    number = approved(step("winding_resistance", WINDING, "phase A")("phase A"), 0.421)
    way = step("temperature_rise", RISE, name)(name)
    assert setup_document(way.now)["cold_resistance_ohm"] == pytest.approx(AT_75)
    assert value_rows(way.now)[-1][1] == f"{AT_75:.6g} Ω at 75 °C, of run {number}, phase A, as measured there"


def test_of_a_phase_by_itself_the_run_of_the_same_phase_lends(step):
    winding = step("winding_resistance", WINDING, *PHASES)
    numbers = [approved(winding(name), ohm) for name, ohm in zip(PHASES, (0.418, 0.421, 0.425), strict=True)]
    way = step("temperature_rise", RISE, *PHASES)("phase B")
    assert setup_document(way.now)["cold_resistance_ohm"] == pytest.approx(AT_75)
    state_values(run=way.run, values={LENDER: numbers[2]}, by=way.operator)
    assert setup_document(way.now)["cold_resistance_ohm"] == pytest.approx(0.425 * 310 / 257.5)


def test_a_run_over_several_windings_lends_nothing(step):
    approved(step("winding_resistance", WINDING, "all windings")("all windings"), 0.418, 0.421, 0.425)
    way = step("temperature_rise", RISE, "all phases together")("all phases together")
    assert lenders_of(way.now) == []
    assert "cold_resistance_ohm" not in setup_document(way.now)


def test_the_reference_temperature_may_have_been_stated_on_the_sheet(step):
    way = step("winding_resistance", {"material": "copper"}, "phase A")("phase A")
    state_values(run=way.run, values={"reference_temperature_c": 20.0}, by=way.operator)
    approved(way, 0.421)
    rise = step("temperature_rise", RISE, "single phase")("single phase")
    setup = setup_document(rise.now)
    # 0.421 (235 + 20)/(235 + 22.5) Ω
    assert (setup["cold_resistance_ohm"], setup["cold_temperature_c"]) == (pytest.approx(0.421 * 255 / 257.5), 20.0)
