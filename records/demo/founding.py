"""Founds the demonstration laboratory: people, bays, instruments with two years of calibrations, authorisations."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.utils import timezone

from equipment.models import Instrument, MeasuringSystem
from equipment.services.calibrations import Circumstances, Point, enter_calibration
from equipment.services.instruments import change_state, enter_instrument
from equipment.services.keeping import enter_range
from equipment.services.standards import enter_standard, record_reading
from equipment.services.systems import assign_system
from labsite.people.access import ServerShell
from labsite.people.models import Organisation, User
from labsite.people.selectors import get_laboratory
from labsite.people.services.laboratory import edit_laboratory
from labsite.people.services.organisations import create_organisation
from labsite.people.services.users import create_user
from records.demo import cast, instruments
from records.demo.recordings import KINDS
from schedules.models import Bay
from schedules.services.authorisations import grant_authorisation
from schedules.services.bays import enter_bay

_STORY_MONTHS = 40


class Founder(ServerShell):
    """Whoever loads the demonstration; may open the first accounts."""

    actor_label = "Demonstration (invented data)"


FOUNDER = Founder()


def found_people() -> dict[str, User]:
    """Make companies and people; return the people by key."""
    companies: dict[str, Organisation] = {
        cast.LABORATORY: create_organisation(
            name=cast.LABORATORY, address=cast.LABORATORY_ADDRESS, is_laboratory=True, by=FOUNDER
        )
    }
    for name in cast.CUSTOMERS:
        companies[name] = create_organisation(name=name, address="Invented address", by=FOUNDER)
    people = {
        person.key: create_user(
            email=person.email,
            name=person.name,
            organisation=companies[person.company],
            roles=[person.role],
            password=cast.PASSWORD,
            by=FOUNDER,
        )
        for person in cast.PEOPLE
    }
    laboratory = get_laboratory()
    changes = {"name": cast.LABORATORY, "address": cast.LABORATORY_ADDRESS}
    edit_laboratory(version=laboratory.version, changes=changes, by=people["administrator"])
    return people


def found_bays(people: dict[str, User]) -> dict[str, Bay]:
    """Enter the bays; return them by name."""
    bays = {}
    for name, kv, kva, frequency, residual in instruments.BAYS:
        bays[name] = enter_bay(
            name=name,
            source_kv=kv,
            source_kva=kva,
            frequency_hz=frequency,
            residual_discharge_pc=residual,
            by=people["quality"],
        )
    return bays


def authorise(people: dict[str, User], start: date, end: date) -> None:
    """Authorise testers to perform and the approver to approve every kind of test."""
    for kind in KINDS:
        for key, activity in (("tester", "perform"), ("second", "perform"), ("approver", "approve")):
            grant_authorisation(
                user=people[key], kind=kind, activity=activity, valid_from=start, valid_until=end, by=people["quality"]
            )


def found_instruments(people: dict[str, User], today: date) -> None:
    """Enter every instrument and the measuring systems; the calibrations come with time."""
    for place, device in enumerate(instruments.DEVICES):
        enter_instrument(
            identifier=device.identifier,
            description=device.description,
            quantity=device.quantity,
            range_text=device.range_text,
            serial=f"INV-{4100 + 37 * place}",
            maker="Invented maker",
            location="Test hall",
            interval_months=device.interval,
            by=people["quality"],
        )
    _enter_ranges(people["quality"])
    _assign_systems(people["quality"], today)


def _enter_ranges(by: Any) -> None:
    for identifier, course in instruments.COURSES.items():
        instrument = Instrument.objects.get(identifier=identifier)
        enter_range(
            instrument=instrument,
            quantity=instrument.quantity,
            unit=course.unit,
            low=course.nominals[0],
            high=course.nominals[-1],
            accuracy_pct=course.accuracy_pct,
            by=by,
        )


def _points(identifier: str, done: date, today: date) -> list[Point]:
    """Return what a calibration found: the error of the instrument's course on that day."""
    course = instruments.COURSES.get(identifier)
    if course is None:
        return []
    years = _STORY_MONTHS / 12 - (today - done).days / 365.25
    error = (course.error_pct + course.drift_pct_per_year * years) / 100
    return [
        Point("as_found", course.unit, value, round(value * (1 + error), 6), value * course.uncertainty_pct / 100)
        for value in course.nominals
    ]


def check_daily(by: Any) -> None:
    """Enter a check standard and what it read on the last days, at the end of the story."""
    name, identifier, unit, reference, reference_uncertainty, reading_uncertainty = instruments.CHECK
    standard = enter_standard(
        name=name,
        instrument=Instrument.objects.get(identifier=identifier),
        unit=unit,
        reference=reference,
        reference_uncertainty=reference_uncertainty,
        reading_uncertainty=reading_uncertainty,
        by=by,
    )
    last = len(instruments.CHECK_READINGS)
    for place, value in enumerate(instruments.CHECK_READINGS):
        at = timezone.now() - timedelta(days=last - place)
        record_reading(standard=standard, value=value, at=at, by=by)


def calibrations_to_come(today: date) -> list[tuple[date, instruments.Device]]:
    """Return every calibration of the story in order of time, from before the first run until today."""
    planned = []
    for device in instruments.DEVICES:
        months = device.months_ago
        while months <= _STORY_MONTHS:
            planned.append((today - timedelta(days=round(30.44 * months)), device))
            months += device.interval
    return sorted(planned, key=lambda item: item[0])


def calibrate(done: date, device: instruments.Device, by: Any, today: date | None = None) -> None:
    """Enter one calibration; its points follow the instrument's course until `today`, where there is one."""
    instrument = Instrument.objects.get(identifier=device.identifier)
    points = _points(device.identifier, done, today or timezone.localdate())
    enter_calibration(
        instrument=instrument,
        laboratory="Meridian Reference Laboratory (invented)",
        certificate_number=f"MRL-{done:%y%m}-{instrument.identifier}",
        calibrated_on=done,
        due_on=done + timedelta(days=round(30.44 * device.interval)),
        relative_uncertainty_pct=device.uncertainty,
        points=points,
        circumstances=Circumstances(correction_use="applied" if points else "not_decided"),
        by=by,
    )


def _assign_systems(by: Any, today: date) -> None:
    known = {instrument.identifier: instrument for instrument in Instrument.objects.visible_to(by)}
    for name, quantity, uncertainty, members in instruments.SYSTEMS:
        assign_system(
            name=name,
            quantity=quantity,
            scale_factor=1.0,
            relative_uncertainty_pct=uncertainty,
            instruments=[known[member] for member in members],
            assigned_on=today - timedelta(days=800),
            by=by,
        )


def take_out_of_service(by: Any, on: date) -> None:
    """Quarantine one instrument and send one away, at the end of the story."""
    moves = (
        (instruments.QUARANTINED, "quarantined", "Reads high on the daily check"),
        (instruments.AWAY, "in_calibration", "Sent for its yearly calibration"),
    )
    for identifier, state, reason in moves:
        instrument = Instrument.objects.get(identifier=identifier)
        change_state(instrument=instrument, version=instrument.version, state=state, on=on, reason=reason, by=by)


def systems_of(bay: str, by: Any) -> list[MeasuringSystem]:
    """Return the measuring systems of a bay."""
    systems = MeasuringSystem.objects.visible_to(by).order_by("name")
    return [system for system in systems if system.name.endswith(bay.lower())]
