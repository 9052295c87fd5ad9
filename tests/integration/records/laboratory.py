"""An invented laboratory with one unit and its plan, and the way a run takes through the services."""

from __future__ import annotations

import io
from datetime import timedelta
from typing import Any

from django.utils import timezone

from equipment.models import Calibration, Instrument, MeasuringSystem, SystemComponent
from labsite.jobs.services import run_waiting
from records.evaluation.synthesis import (
    Discharges,
    Hold,
    PulseTrain,
    synthesise_discharge,
    synthesise_pulses,
    synthesise_withstand,
)
from records.evaluation.writing import csv_text
from records.models import Run
from records.services import checks, instruments, runs, sign_offs, uploads
from schedules.models import Arrangement, Authorisation, Bay, Order, Plan, Step, Unit
from schedules.rules import derive_plan

RATINGS = {
    "equipment": "metal_enclosed_switchgear",
    "highest_voltage_kv": 27,
    "lightning_impulse_kv": 125,
    "frequency_hz": 60,
    "phases": 3,
    "standards": ["IEEE C37.20.3"],
    "altitude_m": 300,
}
# The levels that this plan derives: 60 kV withstand; 30 kV pre-stress, then 18.71 kV (1.2 × 27 / √3).
WITHSTAND = [Hold(60.0, 62.0)]
DISCHARGE = [Hold(30.0, 62.0), Hold(18.71, 124.0)]


def unit_with_plan(*, entered_by: Any, company: Any, serial: str = "MS-2417", **order: Any) -> Unit:
    """Return a unit of a reviewed order with its current plan, straight in the tables."""
    now = timezone.now()
    count = Order.objects.count() + 1
    bought = Order.objects.create(
        number=f"O-2026-{count:04d}",
        customer=company,
        purchase_reference="invented",
        standards=["IEEE C37.20.3"],
        entered_by=entered_by,
        reviewed_by=entered_by,
        reviewed_at=now,
        **order,
    )
    unit = Unit.objects.create(
        number=f"U-{count:05d}",
        order=bought,
        serial=serial,
        equipment="metal_enclosed_switchgear",
        ratings=RATINGS,
        entered_by=entered_by,
    )
    document = derive_plan(RATINGS).as_dict()
    plan = Plan.objects.create(unit=unit, revision=1, document=document, digest="p" * 64, made_by=entered_by)
    for place, row in enumerate(document["steps"], start=1):
        step = Step.objects.create(plan=plan, position=place, kind=row["kind"], title=row["title"], document=row)
        for nth, arrangement in enumerate(row["arrangements"], start=1):
            Arrangement.objects.create(step=step, position=nth, **arrangement)
    return unit


def authorise(user: Any, *kinds: str, activity: str = "perform") -> None:
    """Give a person authorisations for a year around today."""
    today = timezone.localdate()
    for kind in kinds or ("power_frequency_withstand", "partial_discharge"):
        Authorisation.objects.create(
            user=user,
            kind=kind,
            activity=activity,
            valid_from=today - timedelta(days=30),
            valid_until=today + timedelta(days=335),
            granted_by=user,
        )


def system(quantity: str, identifier: str, *, entered_by: Any, due_in_days: int = 200) -> MeasuringSystem:
    """Return a measuring system of one calibrated instrument; negative days make it overdue."""
    today = timezone.localdate()
    instrument = Instrument.objects.create(
        identifier=identifier, description=f"{quantity} instrument (invented)", serial=identifier, quantity=quantity
    )
    Calibration.objects.create(
        instrument=instrument,
        laboratory="Invented calibration laboratory",
        certificate_number=f"K-{identifier}",
        calibrated_on=today - timedelta(days=400),
        due_on=today + timedelta(days=due_in_days),
        relative_uncertainty_pct=1.0,
        entered_by=entered_by,
    )
    made = MeasuringSystem.objects.create(
        name=f"System {identifier}", quantity=quantity, relative_uncertainty_pct=1.5, assigned_on=today
    )
    SystemComponent.objects.create(system=made, instrument=instrument)
    return made


def bay() -> Bay:
    """Return the bay of these tests."""
    return Bay.objects.get_or_create(name="Bay 1", defaults={"source_kv": 100, "source_kva": 50})[0]


def arrangement_of(unit: Unit, kind: str, place: int = 1) -> Arrangement:
    """Return one arrangement of the unit's step of a kind."""
    return Arrangement.objects.get(step__plan__unit=unit, step__plan__is_current=True, step__kind=kind, position=place)


class Way:
    """A run of one arrangement, taken from deed to deed."""

    def __init__(self, arrangement: Arrangement, operator: Any, second: Any, approver: Any) -> None:
        self.operator, self.second, self.approver = operator, second, approver
        self.run = runs.start_run(
            arrangement=arrangement, bay=bay(), operator=operator, second_person=second, by=operator
        )

    @property
    def now(self) -> Run:
        """Return the run as it is stored now."""
        return Run.objects.for_detail().get(pk=self.run.pk)

    def prepare(self, *systems: MeasuringSystem) -> Way:
        """Do all set-up checks that the step asks."""
        run, by = self.run, self.operator
        runs.record_conditions(
            run=run, temperature_c=21.4, pressure_kpa=100.9, relative_humidity_pct=45, version=self.now.version, by=by
        )
        for one in systems:
            instruments.use_system(run=run, system=one, by=by)
        if run.step.kind == "partial_discharge":
            checks.record_charge_calibration(run=run, injected_pc=100, reading=97.5, by=by)
            checks.record_background_noise(run=run, noise_pc=4.4, by=by)
            checks.confirm_calibrator_off(run=run, by=self.second)
        for kind in ("area_clear", "earths", "interlock"):
            checks.confirm_safety(run=run, kind=kind, by=by)
        return self

    def open(self) -> Way:
        """Open the energised stages."""
        runs.open_energised_stages(run=self.run, by=self.operator)
        return self

    def store(self, content: bytes | str, name: str = "record.csv", part: str = "") -> uploads.Upload:
        """Store a record, which nobody judges yet."""
        raw = content.encode() if isinstance(content, str) else content
        return uploads.store_record(run=self.run, stream=io.BytesIO(raw), given_name=name, part=part, by=self.operator)

    def upload(self, content: bytes | str, name: str = "record.csv", part: str = "") -> uploads.Upload:
        """Store a record and let the job judge it."""
        found = self.store(content, name, part)
        run_waiting()
        return found

    def sign(self) -> Way:
        """Sign as the tester."""
        sign_offs.sign_run_as_tester(run=self.run, digest=sign_offs.run_digest(self.now), by=self.operator)
        return self

    def approve(self) -> Way:
        """Approve as the approver."""
        sign_offs.approve_run(run=self.run, digest=sign_offs.run_digest(self.now), by=self.approver)
        return self


def open_step(unit: Unit, people: Any, kind: str, procedure: dict[str, Any], systems: Any) -> Way:
    """Add a step of its own to the plan of a unit, and return a run of it whose energised stages are open."""
    authorise(people[0], kind)
    authorise(people[2], kind, activity="approve")
    plan = unit.plans.get(is_current=True)
    document = {"kind": kind, "title": kind, "procedure": {"criteria": [], **procedure}}
    step = Step.objects.create(plan=plan, position=plan.steps.count() + 1, kind=kind, title=kind, document=document)
    arrangement = Arrangement.objects.create(step=step, position=1, name="phase A")
    return Way(arrangement, *people).prepare(*systems).open()


def conforming(seed: int = 1) -> str:
    """Return a discharge record of a unit that is quiet at 18.71 kV."""
    quiet = Discharges(inception_kv=24.0, extinction_kv=20.5, charge_pc=400.0)
    return csv_text(synthesise_discharge(DISCHARGE, quiet, seed=seed, noise_pc=4.0))


def failing(seed: int = 2) -> str:
    """Return a discharge record of a unit that still discharges at 18.71 kV to the end."""
    loud = Discharges(inception_kv=17.0, extinction_kv=12.0, charge_pc=400.0)
    return csv_text(synthesise_discharge(DISCHARGE, loud, seed=seed, noise_pc=4.0))


def too_short(seed: int = 3) -> str:
    """Return a discharge record whose pre-stress was held 30 s of the 60 s asked: no valid test."""
    return csv_text(synthesise_discharge([Hold(30.0, 30.0), Hold(18.71, 124.0)], None, seed=seed, noise_pc=4.0))


def withstood(seed: int = 4) -> str:
    """Return a withstand record that held."""
    return csv_text(synthesise_withstand(WITHSTAND, seed=seed))


def pulses(seed: int = 5) -> str:
    """Return a list of pulses of a unit that is quiet at 18.71 kV, with phase and instantaneous voltage."""
    trains = [PulseTrain(3, 150, 0.0, 240.0), PulseTrain(250, 100, 22.0, 92.0)]
    return csv_text(synthesise_pulses(DISCHARGE, trains, seed=seed, frequency_hz=60.0))
