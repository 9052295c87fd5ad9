"""Invented instruments for the tests of equipment."""

from __future__ import annotations

from datetime import date, timedelta

from equipment.models import Calibration, Instrument
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
