"""Intervals, drift, fleet, check standards, systems and their budgets: each number by hand."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.core import mail
from django.core.exceptions import ValidationError
from django.urls import reverse

from equipment.metrology.outliers import outliers
from equipment.metrology.reliability import reliability
from equipment.models import CheckAlarm, Instrument, IntervalDecision, MeasuringSystem
from equipment.selectors import history, system_status
from equipment.selectors.budgets import budget_draft, shares_of
from equipment.selectors.standards import check_picture
from equipment.services import Circumstances, Point, assign_system, enter_range
from equipment.services.intervals import decide_interval
from equipment.services.standards import acknowledge_alarm, enter_standard, record_reading
from equipment.services.systems import check_performance, make_budget, reassign_system
from labsite.ledger.models import Entry
from labsite.ledger.services import StaleEdit
from tests.integration.equipment.inventory import TODAY, calibrated, instrument

pytestmark = pytest.mark.usefixtures("_on_the_day")
FIRST = date(2024, 11, 25)


@pytest.fixture
def _on_the_day():
    with time_machine.travel("2026-11-25T09:00:00Z", tick=False):
        yield


@pytest.fixture
def as_quality_manager(client, quality_manager):
    client.force_login(quality_manager)
    return client


@pytest.fixture
def divider(quality_manager) -> Instrument:
    made = instrument(quality_manager)
    enter_range(
        instrument=made, quantity="voltage", unit="kV", low=0, high=100, accuracy_pct=1, resolution=0.1,
        by=quality_manager,
    )  # fmt: skip
    return made


def found(made: Instrument, by, on: date, error: float, number: str, *, left: float | None = None, **said):
    """Enter a calibration that found the error at 50 kV [kV], U = 0.1 kV, and perhaps left another."""
    points = [Point("as_found", "kV", 50.0, 50.0 + error, 0.1)]
    if left is not None:
        points.append(Point("as_left", "kV", 50.0, 50.0 + left, 0.1))
        said["circumstances"] = Circumstances(was_adjusted=True)
    due = max(on, TODAY) + timedelta(days=30)
    return calibrated(made, by, number=number, calibrated_on=on, due_on=due, points=points, **said)


def fresh(made: Instrument) -> Instrument:
    return history.with_history(made_by(made)).get(pk=made.pk)


def made_by(made: Instrument):
    return made.ranges.model._meta.apps.get_model("people.User").objects.filter(grants__role="quality_manager").get()


def proposal(made: Instrument, method: str):
    return next(row for row in history.proposals(fresh(made)) if row.method == method)


def test_the_staircase_grows_by_a_tenth_and_falls_by_its_formula(divider, quality_manager):
    assert proposal(divider, "staircase").months is None
    found(divider, quality_manager, FIRST, 0.1, "K-1")
    grown = proposal(divider, "staircase")
    assert grown.numbers["proposed_days"] == pytest.approx(365.25 * 1.1)
    assert grown.months == 13  # 401.8 days are 13.2 months
    assert "b = 0.8365" in grown.reason
    found(divider, quality_manager, TODAY, 0.6, "K-2", left=0.0)
    fallen = proposal(divider, "staircase")
    assert fallen.numbers["proposed_days"] == pytest.approx(365.25 * (1 - 0.8365), rel=1e-3)
    assert fallen.months == 1


def test_the_drift_line_reaches_the_limit_on_the_day_worked_out_by_hand(divider, quality_manager):
    """0.1 kV a year without scatter: 0.1 kV/a · t + U 0.1 kV = 0.5 kV after four years, two years after the last."""
    for year in range(3):
        on = FIRST + timedelta(days=365 * year)
        found(divider, quality_manager, on, 0.1 * year, f"K-{year}")
    made = proposal(divider, "drift")
    assert made.numbers["days_to_limit"] == pytest.approx(730, abs=0.01)
    assert made.months == 23  # 730 days are 23.98 months
    assert "on 24 Nov 2028" in made.reason  # 730 days, one of them 29 February 2028
    plot = history.drift_plot(history.drift_series(fresh(divider)))
    assert [dot.words[:3] for dot in plot.dots] == ["K-0", "K-1", "K-2"]
    assert [band.kind for band in plot.bands] == ["allowed"]
    assert plot.dots[0].y > plot.dots[2].y  # it drifts upwards


def test_after_an_adjustment_the_drift_starts_anew(divider, quality_manager):
    for year, error in enumerate([0.0, 0.2, 0.4]):
        left = 0.0 if year == 1 else None
        found(divider, quality_manager, FIRST + timedelta(days=300 * year), error, f"K-{year}", left=left)
    assert proposal(divider, "drift").months is None  # left in K-1 and found in K-2: two days only


def test_the_control_chart_lengthens_what_is_in_control_and_halves_what_is_not(divider, quality_manager):
    errors = [0.02, -0.01, 0.03, 0.0, 0.01]
    for place, error in enumerate(errors):
        found(divider, quality_manager, FIRST + timedelta(days=100 * place), error, f"K-{place}")
    calm = proposal(divider, "control_chart")
    ranges = [0.03, 0.04, 0.03, 0.01]
    assert calm.numbers["sigma"] == pytest.approx(sum(ranges) / 4 / (2 / math.sqrt(math.pi)))
    assert calm.months == 13
    found(divider, quality_manager, TODAY, 0.45, "K-9")
    assert proposal(divider, "control_chart").months == 6


def test_a_person_accepts_with_a_reason_and_the_reasoning_stays(as_quality_manager, divider, quality_manager, tester):
    found(divider, quality_manager, FIRST, 0.1, "K-1")
    address = reverse("equipment:interval", args=[divider.pk])
    shown = as_quality_manager.get(address).content.decode()
    assert "Simple response" in shown
    as_quality_manager.post(address, {"version": 1, "method": "staircase", "months": 13, "reason": "stable"})
    row = IntervalDecision.objects.get()
    assert (row.from_months, row.to_months, row.method) == (12, 13, "staircase")
    assert row.reasoning[0]["months"] == 13
    assert Instrument.objects.get(pk=divider.pk).interval_months == 13
    by = quality_manager
    with pytest.raises(StaleEdit):
        decide_interval(instrument=fresh(divider), version=1, method="own", months=6, reason="x", by=by)
    for wrong in ({"months": 0}, {"method": "dice"}, {"reason": " "}):
        said = {"version": 2, "method": "own", "months": 6, "reason": "x", **wrong}
        with pytest.raises(ValidationError):
            decide_interval(instrument=fresh(divider), **said, by=by)
    as_quality_manager.force_login(tester)
    assert as_quality_manager.post(address, {"months": 6}).status_code == 403


def test_the_fleet_is_counted_and_the_few_are_not_overrated(divider, quality_manager):
    for place, error in enumerate([0.1, 0.2, 0.7]):
        found(divider, quality_manager, FIRST + timedelta(days=100 * place), error, f"K-{place}", verdict="outside")
    rows = history.fleet_reliability(quality_manager, date(2020, 1, 1))
    assert [(row.words, row.reliability.in_tolerance, row.reliability.total) for row in rows] == [
        ("All instruments", 2, 3),
        ("Voltage", 2, 3),
    ]
    assert rows[0].statement == "Below the target" or rows[0].reliability.high > 0.95
    assert reliability(10, 10).low == pytest.approx(0.05 ** (1 / 10))  # closed form where all are in tolerance
    assert reliability(0, 10).high == pytest.approx(1 - 0.05 ** (1 / 10))
    assert reliability(95, 100).reaches(0.95) is None
    with pytest.raises(ValueError):
        reliability(3, 2)


def test_outliers_by_their_distance_from_the_median():
    assert outliers([1.0, 1.1, 0.9, 1.0, 1.05, 2.0]) == (False,) * 5 + (True,)
    assert outliers([1.0, 9.0, 1.0]) == (False,) * 3  # too few to tell
    assert outliers([1.0, 1.0, 1.0, 1.0, 1.2]) == (False,) * 4 + (True,)


# Centre 50.05 kV, mean moving range 0.6/9 kV, so σ = 0.0591 kV and limits 49.873 kV to 50.227 kV.
BASELINE = [50.0, 50.1, 50.0, 50.0, 50.1, 50.1, 50.0, 50.1, 50.1, 50.0]
START = datetime(2026, 10, 1, 7, tzinfo=UTC)


def standard(made: Instrument, by, shift: float = 0.0, **said):
    kept = {"name": "Reference divider", "unit": "kV", "reference": 50.05 + shift}
    spreads = {"reference_uncertainty": 0.1, "reading_uncertainty": 0.3}
    row = enter_standard(instrument=made, **{**kept, **spreads, **said}, by=by)
    for day, value in enumerate(BASELINE):
        record_reading(standard=row, value=value + shift, at=START + timedelta(days=day), by=by)
    return row


def test_the_daily_check_of_a_voltage_divider(divider, quality_manager, tester, django_capture_on_commit_callbacks):
    row = standard(divider, quality_manager)
    assert CheckAlarm.objects.count() == 0
    with django_capture_on_commit_callbacks(execute=True):
        record_reading(standard=row, value=50.3, by=tester)
    alarm = CheckAlarm.objects.get()
    assert (alarm.rule, alarm.words) == (
        "nelson_1",
        "Reference divider: 50.3 kV lies more than 3 σ from the centre.",
    )
    assert [(m.to, m.subject) for m in mail.outbox] == [([quality_manager.email], "Check of HV-01: alarm")]
    picture = check_picture(row)
    assert picture.chart.centre == pytest.approx(50.05)
    assert picture.chart.upper == pytest.approx(50.05 + 3 * (0.6 / 9) * math.sqrt(math.pi) / 2)
    assert picture.lines[-1].en == pytest.approx(0.25 / math.hypot(0.3, 0.1))
    assert picture.individuals.dots[-1].kind == "bad"
    acknowledge_alarm(alarm=alarm, reason="loose earth lead", by=quality_manager)
    with pytest.raises(ValidationError, match="already"):
        acknowledge_alarm(alarm=alarm, reason="again", by=quality_manager)
    with django_capture_on_commit_callbacks(execute=True):
        record_reading(standard=row, value=50.05, at=datetime.now(UTC), by=tester)
    assert CheckAlarm.objects.count() == 1


def test_a_jump_within_the_limits_breaks_the_chart_of_moving_ranges(divider, quality_manager):
    """Limits 49.873 to 50.227 kV; moving ranges up to 3.267 · 0.6/9 = 0.2178 kV. From 49.95 to 50.18 kV are 0.23 kV."""
    row = standard(divider, quality_manager, reference_uncertainty=0.3)
    for value in (49.95, 50.18):
        record_reading(standard=row, value=value, by=quality_manager)
    assert list(CheckAlarm.objects.values_list("rule", "reading__value")) == [("moving_range", 50.18)]


def test_the_daily_check_of_a_charge_calibrator_shows_a_small_lasting_shift(quality_manager):
    made = instrument(quality_manager, "CAL-1", quantity="charge")
    said = {"name": "Charge calibrator", "unit": "pC"}
    row = standard(made, quality_manager, shift=50.0, **said)
    for day in range(9):
        record_reading(standard=row, value=100.1, at=START + timedelta(days=20 + day), by=quality_manager)
        expected = ["nelson_2"] if day == 8 else []
        assert list(CheckAlarm.objects.values_list("rule", flat=True)) == expected, day


def test_a_reading_that_disagrees_with_the_reference_is_told_before_there_is_a_baseline(divider, quality_manager):
    row = enter_standard(
        name="New", instrument=divider, unit="kV", reference=50.0, reference_uncertainty=0.1,
        reading_uncertainty=0.1, by=quality_manager,
    )  # fmt: skip
    record_reading(standard=row, value=50.2, by=quality_manager)
    assert CheckAlarm.objects.get().rule == "en"  # 0.2/√0.02 = 1.41
    for wrong in ({"value": float("nan")}, {"value": 1.0, "at": datetime.now(UTC) + timedelta(days=1)}):
        with pytest.raises(ValidationError):
            record_reading(standard=row, **wrong, by=quality_manager)


def chain(divider: Instrument, by, **said) -> MeasuringSystem:
    kept = {"name": "Voltage chain", "quantity": "voltage", "relative_uncertainty_pct": 3.0, "assigned_on": FIRST}
    return assign_system(**{**kept, **said}, instruments=[divider], by=by)


def test_a_changed_component_begins_a_new_assignment_and_the_old_one_stays(divider, quality_manager):
    old = chain(divider, quality_manager, scale_factor=1000.0)
    other = instrument(quality_manager, "HV-02")
    new = reassign_system(
        system=old, instruments=[other], relative_uncertainty_pct=2.0, scale_factor=1001.0, assigned_on=TODAY,
        reason="arm replaced", by=quality_manager,
    )  # fmt: skip
    old.refresh_from_db()
    assert (old.ended_on, old.scale_factor, new.assignment, new.replaces) == (TODAY, 1000.0, 2, old)
    assert [part.instrument for part in old.components.all()] == [divider]
    with pytest.raises(ValidationError, match="This assignment ended"):
        reassign_system(
            system=old, instruments=[other], relative_uncertainty_pct=2, assigned_on=TODAY, reason="x",
            by=quality_manager,
        )  # fmt: skip
    assert MeasuringSystem.objects.count() == 2


@pytest.mark.parametrize(("factor", "is_good"), [(1009.9, True), (990.0, True), (1010.1, False)])
def test_a_performance_check_allows_one_per_cent(divider, quality_manager, tester, factor, is_good):
    calibrated(divider, quality_manager)
    row = chain(divider, quality_manager, scale_factor=1000.0)
    made = check_performance(system=row, scale_factor=factor, on=TODAY, method="reference divider", by=tester)
    assert made.is_satisfied is is_good
    status = system_status(MeasuringSystem.objects.for_list().get(), TODAY)
    assert status.is_valid is is_good
    if not is_good:
        assert "found the scale factor +1 % off, allowed are ±1 %" in status.reasons[0]


def test_the_curve_of_a_calibration_takes_the_place_of_its_uncertainty_as_a_whole(divider, quality_manager):
    """At 60 kV the curve has U = 0.3 kV (k = 2), so u = 0.25 %; the certificate as a whole says U = 1 %."""
    points = [Point("as_left", "kV", at, at, u) for at, u in ((50.0, 0.2), (100.0, 0.3))]
    calibrated(divider, quality_manager, points=points)
    assign_system(
        name="Chain", quantity="voltage", instruments=[divider], relative_uncertainty_pct=3.0, assigned_on=TODAY,
        by=quality_manager,
    )  # fmt: skip
    system = MeasuringSystem.objects.for_detail().get()
    at = {"unit": "kV", "on": TODAY}
    inside, beyond = (budget_draft(system, at_value=value, **at).document["inputs"][1] for value in (60.0, 120.0))
    assert inside["standard_uncertainty"] == pytest.approx(0.15 / 60)
    assert beyond["expanded_uncertainty"] == pytest.approx(0.01)


def test_a_budget_is_put_together_versioned_and_told(as_quality_manager, divider, quality_manager):
    calibrated(divider, quality_manager)  # U = 1 %, k = 2
    row = chain(divider, quality_manager)
    said = {"at_value": 50.0, "unit": "kV", "reason": "first", "by": quality_manager}
    first = make_budget(system=MeasuringSystem.objects.for_detail().get(), temperature_pct=0.5, **said)
    relative = math.sqrt(0.005**2 + (0.05 / 50) ** 2 / 3 + 0.005**2 / 3)
    assert first.relative_uncertainty_pct == pytest.approx(100 * 1.959964 * relative, rel=1e-6)
    shares = {bar.name: bar.percent for bar in shares_of(first)}
    assert shares["calibration_1"] == pytest.approx(100 * 0.005**2 / relative**2, abs=0.05)
    assert sum(shares.values()) == pytest.approx(100, abs=0.2)
    second = make_budget(system=MeasuringSystem.objects.for_detail().get(), temperature_pct=0.0, **said)
    assert (second.number, second.relative_uncertainty_pct < first.relative_uncertainty_pct) == (2, True)
    assert Entry.objects.filter(action="equipment.make_budget").count() == 2
    shown = as_quality_manager.get(reverse("equipment:system", args=[row.pk])).content.decode()
    assert "HV-01: calibration K-1" in shown
    assert "Version 1" in shown
    for wrong in ({"at_value": 0.0}, {"temperature_pct": -1.0}, {"reason": ""}):
        with pytest.raises(ValidationError):
            make_budget(system=row, **{**said, "temperature_pct": 0.0, **wrong})


def test_repeatability_comes_from_check_data_and_only_adds(divider, quality_manager):
    calibrated(divider, quality_manager)
    chain(divider, quality_manager)
    said = {"at_value": 50.0, "unit": "kV", "temperature_pct": 0.0, "reason": "x", "by": quality_manager}
    before = make_budget(system=MeasuringSystem.objects.for_detail().get(), **said)
    standard(divider, quality_manager)
    after = make_budget(system=MeasuringSystem.objects.for_detail().get(), **said)
    rows = {row["name"]: row for row in after.statement["contributions"]}
    assert rows["repeatability_1"]["standard_uncertainty"] == pytest.approx(0.6 / 9 * math.sqrt(math.pi) / 2 / 50.05)
    assert after.statement["standard_uncertainty"] > before.statement["standard_uncertainty"]


def test_pages_of_upkeep_are_shown_to_the_laboratory(client, divider, quality_manager, tester, customer):
    found(divider, quality_manager, FIRST, 0.1, "K-1")
    row = standard(divider, quality_manager)
    record_reading(standard=row, value=50.3, by=quality_manager)
    alarm = CheckAlarm.objects.get()
    system = chain(divider, quality_manager)
    shown = [
        reverse("equipment:intervals"),
        reverse("equipment:interval", args=[divider.pk]),
        reverse("equipment:standards"),
        reverse("equipment:standard", args=[row.pk]),
        reverse("equipment:system", args=[system.pk]),
        reverse("equipment:check-system", args=[system.pk]),
    ]
    changing = [
        reverse("equipment:create-standard"),
        reverse("equipment:acknowledge", args=[row.pk, alarm.pk]),
        reverse("equipment:reassign-system", args=[system.pk]),
        reverse("equipment:make-budget", args=[system.pk]),
        reverse("equipment:import"),
    ]
    for who, reading, writing in ((quality_manager, 200, 200), (tester, 200, 403), (customer, 404, 404)):
        client.force_login(who)
        assert [client.get(address).status_code for address in shown] == [reading] * len(shown)
        assert [client.get(address).status_code for address in changing] == [writing] * len(changing)
    client.force_login(quality_manager)
    assert "lies more than 3 σ" in client.get(shown[3]).content.decode()
    client.post(changing[1], {"reason": "loose lead"})
    assert CheckAlarm.objects.get().acknowledged_reason == "loose lead"
    client.post(shown[3], {"value": "50.05"})
    assert row.readings.count() == 12
