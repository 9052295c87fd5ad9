"""A small invented laboratory: orders, units, plans from the rules, and runs judged by the real evaluation."""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime, timedelta
from functools import cache

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from equipment.models import Calibration, Instrument
from labsite.people.models import Laboratory, User
from records.evaluation.evaluating import evaluate
from records.evaluation.findings import EVALUATION_VERSION
from records.evaluation.setups import Instrument as CircuitInstrument
from records.evaluation.setups import Setup
from records.evaluation.synthesis import Discharges, Hold, synthesise_discharge, synthesise_withstand
from records.evaluation.writing import csv_text
from records.models import Evaluation, Finding, Nonconformance, Record, Run, RunInstrument, SetupCheck, SignOff
from records.services.storing import keep_arrays
from schedules.models import Arrangement, Bay, Order, Plan, Step, Unit
from schedules.rules import derive_plan

NOW = datetime(2026, 3, 3, 9, 0, tzinfo=UTC)
RATINGS = {
    "equipment": "metal_enclosed_switchgear",
    "highest_voltage_kv": 15.5,
    "lightning_impulse_kv": 110,
    "frequency_hz": 60,
    "phases": 3,
    "standards": ["IEEE C37.20.3"],
    "discharge_procedure": "agreed_practice",
}
SETUP = Setup(
    4.0,
    100.0,
    97.5,
    (CircuitInstrument("divider", 1.0, 2.0, "voltage"), CircuitInstrument("detector", 5.0, 2.0, "charge")),
)


@cache
def plan_document() -> dict:
    """Return the plan of the invented unit, derived once."""
    return derive_plan(RATINGS).as_dict()


@cache
def judged(kind: str, *, is_good: bool) -> tuple[str, dict, dict]:
    """Return the text of a constructed record, what the real evaluation says of it, and its arrays."""
    document = next(step for step in plan_document()["steps"] if step["kind"] == kind)
    holds = [Hold(row["voltage_kv"], row["hold_s"] + 2) for row in document["procedure"]["stages"]]
    if kind == "partial_discharge":
        recording = synthesise_discharge(holds, Discharges(20, 14 if is_good else 6, 250), seed=4, interval_s=0.5)
    else:
        recording = synthesise_withstand(holds, seed=4, interval_s=0.1, collapse_at_s=None if is_good else 60)
    arrays = {"time_s": recording.time_s, **recording.channels}
    return csv_text(recording), evaluate(document, [recording], SETUP).as_dict(), arrays


def laboratory() -> Laboratory:
    """Return the laboratory's own row."""
    return Laboratory.objects.get_or_create(
        pk=1,
        defaults={
            "name": "Quayside Insulation Works, High-Voltage Laboratory (invented)",
            "address": "4 Slipway Road\nPort Almery (invented)",
        },
    )[0]


def order_of(customer: User, by: User, number: str = "O-2026-0001") -> Order:
    """Return a reviewed order of the customer's company."""
    company = customer.organisation
    return Order.objects.create(
        number=number, customer=company, purchase_reference=f"PO {company.pk}-77", standards=["IEEE C37.20.3"],
        entered_by=by, reviewed_by=by, reviewed_at=NOW,
    )  # fmt: skip


def unit_of(order: Order, by: User, serial: str = "MES-15-0042") -> Unit:
    """Return a unit with its plan, steps and arrangements."""
    unit = Unit.objects.create(
        number=f"U-{Unit.objects.count() + 1:05d}", order=order, serial=serial, equipment="metal_enclosed_switchgear",
        design="MES-15", ratings=RATINGS, received_on=date(2026, 3, 2), condition="Clean, no transport damage seen.",
        entered_by=by,
    )  # fmt: skip
    plan = Plan.objects.create(unit=unit, revision=1, document=plan_document(), digest="d" * 64, made_by=by)
    for position, document in enumerate(plan_document()["steps"], start=1):
        step = Step.objects.create(
            plan=plan, position=position, kind=document["kind"], title=document["title"], document=document
        )
        for place, row in enumerate(document["arrangements"], start=1):
            Arrangement.objects.create(
                step=step, position=place, name=row["name"], energised=row["energised"], earthed=row["earthed"]
            )
    return unit


def bay() -> Bay:
    """Return the bay."""
    return Bay.objects.get_or_create(name="Bay 2", defaults={"source_kv": 150, "source_kva": 60, "frequency_hz": 60})[0]


def instrument(identifier: str, quantity: str, by: User, *, due_on: date = date(2026, 11, 1)) -> Instrument:
    """Return an instrument with one calibration."""
    found, is_new = Instrument.objects.get_or_create(
        identifier=identifier,
        defaults={"description": f"{quantity} instrument", "serial": f"S-{identifier}", "quantity": quantity},
    )
    if is_new:
        Calibration.objects.create(
            instrument=found, laboratory="Norrland Calibration (invented)", certificate_number=f"NC-{identifier}",
            calibrated_on=date(2025, 1, 15), due_on=due_on, relative_uncertainty_pct=1.0, entered_by=by,
        )  # fmt: skip
    return found


def stored(text: str) -> tuple[str, str, int]:
    """Return path, digest and size of a record's bytes, kept under their digest."""
    content = text.encode()
    digest = hashlib.sha256(content).hexdigest()
    path = f"records/{digest[:2]}/{digest}"
    if not default_storage.exists(path):
        default_storage.save(path, ContentFile(content))
    return path, digest, len(content)


def run_of(
    arrangement: Arrangement, operator: User, second: User, approver: User, *, is_good: bool = True, day: int = 0
) -> Run:
    """Return an approved run with record, findings, checks, instruments and signatures."""
    kind = arrangement.step.kind
    text, outcome, arrays = judged(kind, is_good=is_good)
    run = Run.objects.create(
        number=f"R-2026-{Run.objects.count() + 1:05d}", step=arrangement.step, arrangement=arrangement, bay=bay(),
        state="approved", verdict=outcome["verdict"], operator=operator, second_person=second,
        started_at=NOW + timedelta(days=day, minutes=20 * arrangement.position), temperature_c=21.4, pressure_kpa=100.9,
        relative_humidity_pct=41.0,
    )  # fmt: skip
    path, digest, size = stored(text)
    keep_arrays(f"{path}-plain.parquet", arrays)
    record = Record.objects.create(
        run=run, given_name=f"{kind}.csv", path=path, sha256=digest, size_bytes=size, state="read",
        uploaded_by=operator, summary={"arrays": f"{path}-plain.parquet", "channels": list(arrays)},
    )  # fmt: skip
    evaluation = Evaluation.objects.create(
        run=run, record=record, evaluation_version=EVALUATION_VERSION, verdict=outcome["verdict"], document=outcome,
        record_digest=digest, plan_digest="d" * 64, setup_digest="5" * 64, digest="e" * 64,
    )  # fmt: skip
    Finding.objects.bulk_create(_finding(evaluation, place, row) for place, row in enumerate(outcome["findings"]))
    for identifier, quantity in (("HVD-03", "voltage"), ("PDD-01", "charge")):
        used = instrument(identifier, quantity, operator)
        RunInstrument.objects.create(run=run, instrument=used, calibration=used.calibrations.first(), is_valid=True)
    SetupCheck.objects.create(
        run=run, kind="background_noise", values={"noise_pc": 4.0}, is_satisfied=True, made_by=operator
    )
    for capacity, person in (("tester", operator), ("approver", approver)):
        SignOff.objects.create(
            run=run, capacity=capacity, meaning=f"I sign as {capacity}.", user=person, printed_name=person.name,
            digest="f" * 64, signed_at=run.started_at + timedelta(hours=1),
        )  # fmt: skip
    return run


def _finding(evaluation: Evaluation, place: int, row: dict) -> Finding:
    kept = {name: row[name] for name in ("quantity", "value", "expanded_uncertainty", "coverage_factor", "decision",
                                         "probability_of_conformity", "judges", "verdict", "reason")}  # fmt: skip
    limits = {"minimum": row["min"], "maximum": row["max"]}
    return Finding(evaluation=evaluation, position=place, stage=row["stage"] or "", unit=row["unit"], **kept, **limits)


def tested(unit: Unit, operator: User, second: User, approver: User) -> list[Run]:
    """Return approved, conforming runs of every arrangement of the unit's plan."""
    places = Arrangement.objects.filter(step__plan__unit=unit).order_by("step__position", "position")
    return [run_of(place, operator, second, approver) for place in places]


def conceded(run: Run, by: User) -> Nonconformance:
    """Return a nonconformance of the run, accepted by the customer."""
    return Nonconformance.objects.create(
        run=run, disposition="concession", disposition_reason="Accepted for the outdoor bay, letter 12 (invented).",
        decided_by=by, decided_at=NOW,
    )  # fmt: skip
