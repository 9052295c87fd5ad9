"""Invented instruments for the tests of equipment."""

from __future__ import annotations

from datetime import date, timedelta

from equipment.models import Calibration, Instrument, MeasuringSystem, SystemComponent
from equipment.services import enter_calibration, enter_instrument

TODAY = date(2026, 11, 25)
BASE = {"description": "Voltage divider 100 kV (invented)", "serial": "S-1", "quantity": "voltage"}


def instrument(by, identifier: str = "HV-01", **values) -> Instrument:
    """Enter one instrument."""
    return enter_instrument(identifier=identifier, **{**BASE, **values}, by=by)


def calibrated(item: Instrument, by, *, due_in_days: int = 200, number: str = "K-1", **values) -> Calibration:
    """Enter one calibration that is due so many days from `TODAY` on and began a year before that."""
    due = TODAY + timedelta(days=due_in_days)
    said = {
        "laboratory": "Tarn Metrology (invented)",
        "certificate_number": number,
        "calibrated_on": min(due - timedelta(days=365), TODAY),
        "due_on": due,
        "relative_uncertainty_pct": 1.0,
    }
    return enter_calibration(instrument=item, **{**said, **values}, by=by)


def many(by, numbers: range) -> None:
    """Store calibrated instruments, each in a system of its own, straight into the tables: for counting queries."""
    periods = {"calibrated_on": TODAY - timedelta(days=30), "due_on": TODAY + timedelta(days=335)}
    shadow = {"latest_on": periods["calibrated_on"], "latest_due_on": periods["due_on"], "latest_is_good": True}
    rows = [Instrument(identifier=f"X-{number}", **shadow, **BASE) for number in numbers]
    Instrument.objects.bulk_create(rows)
    said = {"laboratory": "Tarn Metrology (invented)", "certificate_number": "K", "relative_uncertainty_pct": 1.0}
    Calibration.objects.bulk_create(Calibration(instrument=row, entered_by=by, **periods, **said) for row in rows)
    chain = {"quantity": "voltage", "relative_uncertainty_pct": 3.0, "assigned_on": TODAY}
    systems = [MeasuringSystem(name=f"Chain of {row.identifier}", **chain) for row in rows]
    MeasuringSystem.objects.bulk_create(systems)
    pairs = zip(systems, rows, strict=True)
    SystemComponent.objects.bulk_create(SystemComponent(system=system, instrument=row) for system, row in pairs)
