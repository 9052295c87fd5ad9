"""Plays the story: each order, unit, run and certificate goes through the services that the pages use."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

from equipment.models import Instrument
from labsite.jobs.services.running import run_waiting
from labsite.people.models import Organisation
from records.demo import founding, recordings
from records.demo.clock import Clock
from records.demo.instruments import DEVICES_OF
from records.demo.story import OrderStory, UnitStory
from records.models import Certificate, Nonconformance, Run, RunInstrument
from records.selectors.digests import run_digest
from records.selectors.stated import asked_on_sheet
from records.services import checks, runs, sign_offs
from records.services.certificates import issue_certificate, request_certificate
from records.services.instruments import override_calibration, use_instrument, use_system
from records.services.invitations import invite_witness
from records.services.nonconformances import decide_nonconformance
from records.services.stated import state_values
from records.services.uploads import store_record
from schedules.models import Arrangement, Order, Plan, Unit
from schedules.services.orders import enter_order, review_contract
from schedules.services.plans import adopt_plan
from schedules.services.units import enter_units

Say = Callable[[str], None]


class Player:
    """Plays orders in time; holds the people, bays and clock of the story."""

    def __init__(self, people: dict[str, Any], bays: dict[str, Any], clock: Clock, today: datetime, say: Say) -> None:
        self.people, self.bays, self.clock, self.today, self.say = people, bays, clock, today, say
        self.calibrations = founding.calibrations_to_come(today.date())

    def play(self, story: OrderStory) -> None:
        """Play one order from its entry to where its units stand."""
        self.advance_to(self.today - timedelta(days=story.days_ago))
        order = self._order(story)
        units = self._units(order, story)
        if not story.is_reviewed:
            return
        for unit, told in zip(units, story.units, strict=True):
            if told.stops != "entered":
                self.clock.wait(hours=1)
                plan = adopt_plan(unit=unit, by=self.people["tester"])
                self._test(unit, plan, told, story)

    def advance_to(self, moment: datetime) -> None:
        """Move the clock on; instruments are calibrated on the way as they fall due."""
        while self.calibrations and self.calibrations[0][0] < moment.date():
            done, device = self.calibrations.pop(0)
            self.clock.move_to(datetime.combine(done, datetime.min.time(), tzinfo=moment.tzinfo) + timedelta(hours=9))
            founding.calibrate(done, device, self.people["quality"], self.today.date())
        self.clock.move_to(moment)

    def _order(self, story: OrderStory) -> Order:
        customer = Organisation.objects.get(name=story.customer)
        order = enter_order(
            customer=customer,
            purchase_reference=story.reference,
            standards=story.standards,
            hold_kinds=story.hold_kinds,
            witness_kinds=story.witness_kinds,
            wanted_on=self.clock.moment.date() + timedelta(days=20),
            remarks="Invented order of the demonstration.",
            by=self.people["tester"],
        )
        return review_contract(order=order, by=self.people["approver"]) if story.is_reviewed else order

    def _units(self, order: Order, story: OrderStory) -> list[Unit]:
        return enter_units(
            order=order,
            serials=[unit.serial for unit in story.units],
            equipment=story.equipment,
            ratings=dict(story.ratings),
            design=story.design,
            received_on=self.clock.moment.date(),
            condition="Crate sound, no marks on the insulation.",
            by=self.people["tester"],
        )

    def _test(self, unit: Unit, plan: Plan, told: UnitStory, story: OrderStory) -> None:
        places = list(_arrangements(plan))[: told.runs] if told.stops != "planned" else []
        for place, arrangement in enumerate(places):
            is_last = place == len(places) - 1
            stops = told.stops if is_last else "approved"
            self._attempts(arrangement, told, place, stops, story.bay)
        if told.stops == "certificate":
            self._certify(unit)

    def _attempts(self, arrangement: Arrangement, told: UnitStory, place: int, stops: str, bay: str) -> None:
        fault = told.faults.get(place, "")
        run = self._run(arrangement, fault, stops, bay)
        if fault and told.disposition:
            reason = _REPEAT_REASONS[fault]
            if fault == "fails":
                self._dispose(run, told.disposition)
            self.clock.wait(days=2)
            self._run(arrangement, "", stops, bay, repeats=run, repeat_reason=reason)

    def _run(
        self,
        arrangement: Arrangement,
        fault: str,
        stops: str,
        bay: str,
        repeats: Run | None = None,
        repeat_reason: str = "",
    ) -> Run:
        run = self.begin_run(arrangement, fault, bay, repeats, repeat_reason)
        if stops == "setup":
            return run
        self.hold_stages(run)
        if stops == "energised":
            return run
        self._state(run)
        files = recordings.files_of(arrangement.step.document, fault, seed=run.pk)
        for file in files:
            name = f"{run.number}.csv" if len(files) == 1 else f"{run.number}-{file.name}.csv"
            stream, tester = io.BytesIO(file.content), self.people["tester"]
            store_record(run=_fresh(run), stream=stream, given_name=name, part=file.part, by=tester)
        run_waiting()
        self._sign(run, stops)
        return _fresh(run)

    def begin_run(
        self, arrangement: Arrangement, fault: str, bay: str, repeats: Run | None = None, repeat_reason: str = ""
    ) -> Run:
        """Start a run and make every check before voltage."""
        tester, second = self.people["tester"], self.people["second"]
        self.clock.wait(minutes=20)
        run = runs.start_run(
            arrangement=arrangement,
            bay=self.bays[bay],
            operator=tester,
            second_person=second,
            by=tester,
            repeats=repeats,
            repeat_reason=repeat_reason,
        )
        self._set_up(run, fault)
        return run

    def hold_stages(self, run: Run) -> None:
        """Open the energised stages of a run and note each as held."""
        tester = self.people["tester"]
        runs.open_energised_stages(run=_fresh(run), by=tester)
        for stage in run.step.document["procedure"].get("stages", ()):
            self.clock.wait(seconds=stage.get("hold_s", 0) + 20)
            runs.mark_stage(run=_fresh(run), stage=stage["name"], outcome="held", by=tester)

    def _state(self, run: Run) -> None:
        """State what the record does not hold, where the sheet asks for it."""
        asked = {one.name for one in asked_on_sheet(run)}
        known = {name: value for name, value in recordings.values_of(run.step.document).items() if name in asked}
        if known:
            state_values(run=_fresh(run), values=known, by=self.people["tester"])

    def _set_up(self, run: Run, fault: str) -> None:
        tester, second = self.people["tester"], self.people["second"]
        chance = run.pk % 7
        runs.record_conditions(
            run=run,
            temperature_c=20.5 + 0.3 * chance,
            pressure_kpa=100.6 + 0.2 * chance,
            relative_humidity_pct=44.0 + chance,
            version=run.version,
            by=tester,
        )
        self._instruments(run)
        if run.step.point == "witness":
            self._invite(run)
        if run.step.kind == "partial_discharge":
            checks.record_charge_calibration(run=_fresh(run), injected_pc=100, reading=97.2 + 0.3 * chance, by=tester)
            checks.record_background_noise(run=_fresh(run), noise_pc=3.6 + 0.4 * chance, by=tester)
            checks.confirm_calibrator_off(run=_fresh(run), by=second)
        if run.step.kind not in DEVICES_OF:
            reading = 10.02 + 0.01 * chance
            checks.record_voltage_scale(run=_fresh(run), reference_kv=10.0, reading_kv=reading, by=tester)
        for kind in ("area_clear", "earths", "interlock"):
            checks.confirm_safety(run=_fresh(run), kind=kind, by=second)

    def _invite(self, run: Run) -> None:
        witness = self.people["witness"]
        invite_witness(
            run=_fresh(run),
            name=witness.name,
            company=str(witness.organisation),
            email=witness.email,
            hours=72,
            by=self.people["tester"],
        )

    def _instruments(self, run: Run) -> None:
        tester = self.people["tester"]
        own = DEVICES_OF.get(run.step.kind, ())
        for system in () if own else founding.systems_of(run.bay.name, tester):
            if system.quantity == "voltage" or run.step.kind == "partial_discharge":
                use_system(run=_fresh(run), system=system, by=tester)
        for identifier in (*own, "T-53", "H-52", "B-51"):
            instrument = Instrument.objects.get(identifier=identifier)
            use_instrument(run=_fresh(run), instrument=instrument, by=tester)
        for used in RunInstrument.objects.filter(run=run, is_valid=False):
            reason = "Compared with R-42 the same morning: within 0.2 %. Recalibration is booked."
            override_calibration(run_instrument=used, reason=reason, by=self.people["quality"])

    def _sign(self, run: Run, stops: str) -> None:
        run = _fresh(run)
        sign_offs.sign_run_as_tester(run=run, digest=run_digest(run), by=self.people["tester"])
        if stops == "signed":
            return
        self.clock.wait(minutes=30)
        run = _fresh(run)
        sign_offs.approve_run(run=run, digest=run_digest(run), by=self.people["approver"])

    def _dispose(self, run: Run, disposition: str) -> None:
        self.clock.wait(hours=3)
        decide_nonconformance(
            nonconformance=Nonconformance.objects.get(run=run),
            disposition=disposition,
            reason="Loose shield ring at the line terminal found and fastened; retest agreed.",
            by=self.people["quality"],
        )

    def _certify(self, unit: Unit) -> None:
        self.clock.wait(hours=2)
        certificate = request_certificate(unit=unit, by=self.people["approver"])
        run_waiting()
        certificate = Certificate.objects.get(pk=certificate.pk)
        issue_certificate(certificate=certificate, digest=certificate.document_digest, by=self.people["approver"])
        run_waiting()
        self.say(f"  {unit.serial}: certificate {certificate.number}")


_REPEAT_REASONS = {
    "fails": "Retest after repair",
    "short": "The hold was too short: the test was not valid",
}


def _arrangements(plan: Plan) -> Iterator[Arrangement]:
    for step in plan.steps.all():
        yield from step.arrangements.all()


def _fresh(run: Run) -> Run:
    return Run.objects.for_detail().get(pk=run.pk)
