"""What stands between a run and voltage, each lack refused in its own words."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from equipment.services import change_state, enter_range
from records.models import RunInstrument
from records.services import checks, instruments, runs
from records.services.refusals import GateClosed, NotAuthorised, Refused, ValueRefused
from schedules.models import Authorisation, Order, Step
from tests.integration.records import laboratory

pytestmark = pytest.mark.django_db


def missing(way) -> tuple[str, ...]:
    """Return what the gate says."""
    with pytest.raises(GateClosed) as closed:
        way.open()
    return closed.value.missing


def test_an_empty_sheet_lists_everything_that_is_missing(start):
    assert missing(start()) == (
        "The ambient conditions are not recorded.",
        "No instrument that measures the voltage is listed.",
        "No instrument that measures the charge is listed.",
        "The charge calibration of the circuit is missing.",
        "The background noise is missing.",
        "Nobody has confirmed that the charge calibrator is off the circuit.",
        "Not confirmed yet: area clear.",
        "Not confirmed yet: earths as the arrangement asks.",
        "Not confirmed yet: interlock closed.",
    )


def test_a_withstand_asks_nothing_of_the_charge(start):
    assert missing(start("power_frequency_withstand")) == (
        "The ambient conditions are not recorded.",
        "No instrument that measures the voltage is listed.",
        "Not confirmed yet: area clear.",
        "Not confirmed yet: earths as the arrangement asks.",
        "Not confirmed yet: interlock closed.",
    )


def test_a_prepared_run_opens(prepared):
    assert prepared().open().now.state == "energised"


def test_an_overdue_instrument_keeps_the_stages_closed_until_it_is_overridden(
    start, overdue_system, charge_system, quality_manager, tester
):
    way = start().prepare(overdue_system, charge_system)
    (lack,) = missing(way)
    assert lack.startswith("D-09 is not in calibration today: The calibration ended on ")
    assert "10 days before" in lack
    use = RunInstrument.objects.get(run=way.run, instrument__identifier="D-09")
    assert (use.is_valid, use.calibration.certificate_number) == (False, "K-D-09")
    with pytest.raises(PermissionDenied, match="Only the quality manager"):
        instruments.override_calibration(run_instrument=use, reason="Needed today.", by=tester)
    with pytest.raises(ValueRefused, match="needs a reason"):
        instruments.override_calibration(run_instrument=use, reason="  ", by=quality_manager)
    instruments.override_calibration(run_instrument=use, reason="Compared with D-50 today.", by=quality_manager)
    assert way.open().now.state == "energised"
    use.refresh_from_db()
    assert (use.is_valid, use.overridden_by, use.override_reason) == (
        False,
        quality_manager,
        "Compared with D-50 today.",
    )


def test_a_valid_instrument_cannot_be_overridden(prepared, quality_manager):
    use = prepared().now.instruments.first()
    with pytest.raises(Refused, match="nothing to override"):
        instruments.override_calibration(run_instrument=use, reason="For fun.", by=quality_manager)


def test_calibrating_again_asks_for_the_calibrator_off_again(prepared):
    way = prepared()
    checks.record_charge_calibration(run=way.run, injected_pc=50, reading=49, by=way.operator)
    assert missing(way) == (
        "The circuit was calibrated again after the calibrator was confirmed off; confirm it off again.",
    )
    checks.confirm_calibrator_off(run=way.run, by=way.second)
    assert way.open().now.state == "energised"


# The plan's limit is 100 pC: 50 to 200 pC may be injected, and noise may be 50 pC (IEC 60270, from memory).
@pytest.mark.parametrize(("injected", "is_satisfied"), [(49.9, False), (50, True), (200, True), (200.1, False)])
def test_the_injected_charge_lies_between_half_and_twice_the_limit(prepared, injected, is_satisfied):
    way = prepared()
    made = checks.record_charge_calibration(run=way.run, injected_pc=injected, reading=100, by=way.operator)
    checks.confirm_calibrator_off(run=way.run, by=way.second)
    assert made.is_satisfied is is_satisfied
    assert made.values["scale_factor"] == pytest.approx(injected / 100)
    if not is_satisfied:
        assert missing(way) == (
            f"{injected:g} pC was injected; the plan's limit of 100 pC asks 50 to 200 pC (50 to 200 %). "
            "Calibrate again with a charge in this range.",
        )


@pytest.mark.parametrize(("noise", "is_satisfied"), [(0, True), (50, True), (50.5, False)])
def test_noise_over_half_the_limit_keeps_the_stages_closed(prepared, noise, is_satisfied):
    way = prepared()
    made = checks.record_background_noise(run=way.run, noise_pc=noise, by=way.operator)
    assert made.is_satisfied is is_satisfied
    if not is_satisfied:
        assert missing(way)[0].startswith("The background noise is 50.5 pC; 50 pC at most")


@pytest.mark.parametrize(("reading", "is_satisfied"), [(9.7, True), (10.3, True), (9.6, False), (10.4, False)])
def test_the_voltage_scale_may_be_three_per_cent_off(prepared, reading, is_satisfied):
    way = prepared()
    made = checks.record_voltage_scale(run=way.run, reference_kv=10, reading_kv=reading, by=way.operator)
    assert made.is_satisfied is is_satisfied
    if not is_satisfied:
        assert "off the reference of 10 kV" in missing(way)[0]


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -1.0])
def test_numbers_that_cannot_be_are_refused(prepared, value):
    way = prepared()
    with pytest.raises(ValueRefused):
        checks.record_background_noise(run=way.run, noise_pc=value, by=way.operator)
    with pytest.raises(ValueRefused):
        checks.record_charge_calibration(run=way.run, injected_pc=value, reading=1, by=way.operator)
    with pytest.raises(ValueRefused):
        runs.record_conditions(
            run=way.run,
            temperature_c=value * 100,
            pressure_kpa=100,
            relative_humidity_pct=40,
            version=2,
            by=way.operator,
        )


def test_only_the_two_who_perform_it_write_on_the_sheet(start, approver):
    way = start()
    with pytest.raises(PermissionDenied, match="Only Tove Brandt and Sami Orlov"):
        checks.confirm_safety(run=way.run, kind="area_clear", by=approver)


def test_an_operator_without_authorisation_is_refused(start, unit, people):
    Authorisation.objects.filter(user=people[0]).delete()
    with pytest.raises(NotAuthorised, match="Tove Brandt holds no authorisation to perform"):
        start()


def test_an_order_without_contract_review_is_refused(start, unit):
    Order.objects.filter(pk=unit.order_id).update(reviewed_by=None, reviewed_at=None)
    with pytest.raises(Refused, match="contract review of order"):
        start()


def test_an_unreleased_hold_point_before_the_step_is_refused(start, unit, approver):
    step = Step.objects.filter(plan__unit=unit, position=1)
    step.update(point="hold")
    with pytest.raises(Refused, match=r"The hold point “.*” before this step is not released"):
        start("partial_discharge")
    step.update(released_by=approver, released_at=timezone.now())
    assert start("partial_discharge").now.state == "setup"


def test_a_witness_point_waits_for_an_invitation_or_a_release(prepared, unit, approver):
    steps = Step.objects.filter(plan__unit=unit, kind="partial_discharge")
    steps.update(point="witness")
    way = prepared()
    assert missing(way) == (
        "This step is a witness point and no witness is invited. Invite one, or release the point with a reason.",
    )
    steps.update(released_by=approver, released_at=timezone.now())
    assert way.open().now.state == "energised"


def test_an_open_run_of_the_arrangement_is_refused(start):
    way = start()
    with pytest.raises(Refused, match=f"Run {way.run.number} of this arrangement is still open"):
        start()
    with pytest.raises(ValueRefused, match="Say why"):
        runs.abandon_run(run=way.run, reason=" ", by=way.operator)
    runs.abandon_run(run=way.run, reason="Wrong bay.", by=way.operator)
    again = start()
    assert again.run.repeat_reason == f"Run {way.run.number} was abandoned: Wrong bay."


def test_the_second_person_is_another_person(unit, people):
    with pytest.raises(ValueRefused, match="another person"):
        laboratory.Way(laboratory.arrangement_of(unit, "partial_discharge"), people[0], people[0], people[2])


def test_an_instrument_that_was_quarantined_after_it_was_listed_keeps_the_stages_closed(
    start, charge_system, voltage_system, quality_manager
):
    way = start().prepare(voltage_system, charge_system)
    divider = voltage_system.components.get().instrument
    today = timezone.localdate()
    said = {"state": "quarantined", "on": today, "reason": "fell from the trolley", "by": quality_manager}
    change_state(instrument=divider, version=divider.version, **said)
    (lack,) = missing(way)
    since = f"{today.day} {today:%b %Y}"
    assert f"{divider.identifier} is not in calibration today: The instrument is quarantined since {since}" in lack
    use = RunInstrument.objects.get(run=way.run, instrument=divider)
    instruments.override_calibration(run_instrument=use, reason="checked against the spare", by=quality_manager)
    use.refresh_from_db()
    assert (use.is_valid, "fell from the trolley" in use.status_reason) == (False, True)
    assert way.open().now.state == "energised"


def test_an_instrument_of_too_small_a_range_is_told(start, charge_system, voltage_system, quality_manager):
    divider = voltage_system.components.get().instrument
    enter_range(instrument=divider, quantity="voltage", unit="kV", low=0, high=25, by=quality_manager)
    way = start().prepare(voltage_system, charge_system)
    (lack,) = missing(way)
    assert "30 kV lies outside the range of the instrument: 0 to 25 kV." in lack
