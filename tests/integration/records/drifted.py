"""An invented voltage divider that drifted, and forty runs that used it: the numbers are worked out by hand.

The divider was left without error on the first day (as left 50 kV at 50 kV and 100 kV at 100 kV). Two hundred days
later it was found to read 52 kV at 50 kV and 104 kV at 100 kV: of a reading v, v/26 is error. Run i (0 to 39) came on
day 5 i and read v = 58.96 kV + 0.07 kV · (7 i mod 40); asked are 58.2 kV to 61.8 kV (60 kV ± 3 %), U = 0.3 kV, simple
acceptance, and the criterion judges the test. So all forty were valid when they were judged. With the error taken out

- constant: v · 25/26; below 58.2 kV for v < 60.528 kV, nearer than U to it up to v = 60.84 kV;
- growing: v · (1 − i/40/26).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from equipment.models import Calibration, Instrument, MeasuringSystem
from equipment.services import Circumstances, Point, assign_system, enter_calibration, enter_range
from records.models import Evaluation, Finding, Record, Run, RunInstrument
from tests.integration.certificates import world

GOOD_ON = date(2026, 1, 5)
FOUND_ON = GOOD_ON + timedelta(days=200)
FLIPS_CONSTANT = [0, 1, 2, 3, 6, 7, 8, 12, 13, 14, 18, 19, 20, 23, 24, 25, 26, 29, 30, 31, 35, 36, 37]
DOUBTFUL_CONSTANT = [9, 15, 32, 38]
FLIPS_LINEAR = [23, 24, 29, 30, 35, 36, 37]
DOUBTFUL_LINEAR = [18, 31]
_FINDING = {
    "quantity": "held_voltage_kv", "stage": "withstand", "unit": "kV", "expanded_uncertainty": 0.3,
    "coverage_factor": 2.0, "minimum": 58.2, "maximum": 61.8, "decision": "simple_acceptance", "judges": "test",
    "verdict": "conforms", "reason": "Held (invented).", "position": 1,
}  # fmt: skip
_DISCHARGES = {
    "quantity": "disruptive_discharges", "value": 0.0, "maximum": 0.0, "decision": "simple_acceptance",
    "judges": "unit", "verdict": "conforms", "reason": "None (invented).", "position": 2,
}  # fmt: skip


def divider(by: Any, identifier: str = "HVD-9") -> Instrument:
    """Return the divider with one per cent required, good on the first day."""
    made = Instrument.objects.create(
        identifier=identifier, description="Divider (invented)", serial="S-9", quantity="voltage"
    )
    enter_range(instrument=made, quantity="voltage", unit="kV", low=0, high=120, accuracy_pct=1, by=by)
    left = [Point("as_left", "kV", at, at, 0.1) for at in (50.0, 100.0)]
    said = {"laboratory": "Tarn Metrology (invented)", "relative_uncertainty_pct": 0.5, "by": by}
    due = GOOD_ON + timedelta(days=365)
    enter_calibration(
        instrument=made, certificate_number="GOOD-1", calibrated_on=GOOD_ON, due_on=due, points=left, **said
    )
    return made


def found_wrong(made: Instrument, by: Any) -> Calibration:
    """Enter the calibration that found it wrong and put it right."""
    points = [Point("as_found", "kV", at, 1.04 * at, 0.1) for at in (50.0, 100.0)]
    points += [Point("as_left", "kV", at, at, 0.1) for at in (50.0, 100.0)]
    return enter_calibration(
        instrument=made, laboratory="Tarn Metrology (invented)", certificate_number="WRONG-2",
        calibrated_on=FOUND_ON, due_on=FOUND_ON + timedelta(days=365), relative_uncertainty_pct=0.5, points=points,
        circumstances=Circumstances(was_adjusted=True, adjustment="Low-voltage arm replaced"), by=by,
    )  # fmt: skip


def reading_kv(place: int) -> float:
    """Return what the divider read in run `place` [kV]."""
    return 58.96 + 0.07 * (7 * place % 40)


def run_on(
    day: date, number: str, value_kv: float, arrangement: Any, people: dict[str, Any], use: dict[str, Any], **said: Any
) -> Run:
    """Store one approved run with its one voltage, straight in the tables."""
    run = Run.objects.create(
        number=number, step=arrangement.step, arrangement=arrangement, bay=world.bay(), operator=people["tester"],
        second_person=people["second"], started_at=datetime(day.year, day.month, day.day, 9, tzinfo=UTC),
        **{"state": "approved", "verdict": "conforms", **said},
    )  # fmt: skip
    record = Record.objects.create(
        run=run, given_name="r.csv", path="-", sha256="0" * 64, size_bytes=1, state="read", uploaded_by=people["tester"]
    )
    evaluation = Evaluation.objects.create(
        run=run, record=record, evaluation_version="1.0", verdict="conforms", document={}, record_digest="0" * 64,
        plan_digest="0" * 64, setup_digest="0" * 64, digest="0" * 64,
    )  # fmt: skip
    Finding.objects.create(evaluation=evaluation, value=value_kv, **_FINDING)
    Finding.objects.create(evaluation=evaluation, **_DISCHARGES)
    RunInstrument.objects.create(run=run, is_valid=True, **use)
    return run


def chain_of(made: Instrument, by: Any) -> MeasuringSystem:
    """Return a measuring system that the divider is part of."""
    return assign_system(
        name="Voltage chain", quantity="voltage", instruments=[made], relative_uncertainty_pct=1.0,
        assigned_on=GOOD_ON, by=by,
    )  # fmt: skip


def forty_runs(made: Instrument, people: dict[str, Any], customers: list[Any]) -> list[Run]:
    """Store the forty runs, every second one through a measuring system, the customers taking turns."""
    chain = chain_of(made, people["quality"])
    places = []
    for nth, customer in enumerate(customers):
        order = world.order_of(customer, people["tester"], f"O-{nth}")
        unit = world.unit_of(order, people["tester"], f"SERIAL-{nth}")
        places.append(unit.plans.get().steps.get(kind="power_frequency_withstand").arrangements.first())
    uses = [{"instrument": made}, {"instrument": made, "system": chain}]
    return [
        run_on(
            GOOD_ON + timedelta(days=5 * place), f"R-{place:02d}", reading_kv(place),
            places[place % len(places)], people, uses[place % 2],
        )
        for place in range(40)
    ]  # fmt: skip
