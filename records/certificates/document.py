"""The frozen content of a certificate: everything that it says, as JSON of one spelling, with its digest.

The items are those of ISO/IEC 17025:2017 7.8.2.1 (letters in comments), 7.8.3, 7.8.6 and 7.8.8.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import Any

from labsite.ledger.canonical import canonical_bytes, instant, plain
from labsite.ledger.selectors import current_anchor
from labsite.people.selectors import get_laboratory
from records.certificates.deviations import deviations_of
from records.certificates.readiness import Settled
from records.evaluation.parts import part_named
from records.models import Certificate, Evaluation, Run, RunInstrument, SetupCheck, SignOff
from records.selectors.digests import current_evaluation
from records.selectors.stated import values_in_words
from schedules.models import Order, Plan, Step, Unit
from schedules.rules.vocabulary import EQUIPMENT_KINDS, RATING_FIELDS
from schedules.selectors import agreed_decision

FORMAT = "withstand-certificate/1"
STATEMENT = "The results relate only to the items tested."
RATING_NAMES = {field.name: (field.label, field.unit) for field in RATING_FIELDS}
NOT_RATINGS = ("equipment", "standards", "tests", "discharge_procedure", "decision_rule", "guard_factor", "statements")


def document_digest(document: dict[str, Any]) -> str:
    """Return the SHA-256 of the document's RFC 8785 bytes, in hex."""
    return hashlib.sha256(canonical_bytes(document)).hexdigest()


def build_document(
    *, number: str, unit: Unit, plan: Plan, settled: list[Settled], replaces: Certificate | None, reason: str
) -> dict[str, Any]:
    """Return what the certificate says of one unit; every run of `settled` is there."""
    runs = [row.run for row in settled if row.run is not None]
    anchor = current_anchor()
    document = {
        "format": FORMAT,
        "title": "Test certificate",  # a
        "number": number,  # d
        "replaces": _replaced(replaces, reason),  # 7.8.8
        "laboratory": _laboratory(),  # b
        "places": sorted({run.bay.name for run in runs}),  # c
        "customer": _customer(unit.order),  # e
        "methods": list(unit.order.standards),  # f
        "item": _item(unit),  # g, h
        "tested_from": min(instant(run.started_at) for run in runs),  # i
        "tested_until": max(instant(run.started_at) for run in runs),
        **agreed_decision(unit.order),  # 7.8.6
        "verdict": "conforms" if all(row.concession is None for row in settled) else "concession",
        "plan": _plan(plan),
        "runs": [_run(run) for run in runs],  # m
        "instruments": _instruments(runs),
        "deviations": deviations_of(unit, plan, runs),  # n
        "statement": STATEMENT,  # l
        "ledger": {"count": anchor.count, "head": anchor.head},
    }
    return plain(document)


def _replaced(replaces: Certificate | None, reason: str) -> dict[str, Any] | None:
    if replaces is None:
        return None
    return {"number": replaces.number, "issued_at": replaces.issued_at, "reason": reason}


def _laboratory() -> dict[str, str]:
    laboratory = get_laboratory()
    return {"name": laboratory.name, "address": laboratory.address, "logo": laboratory.logo.name or ""}


def _customer(order: Order) -> dict[str, str]:
    company = order.customer
    return {
        "name": company.name,
        "address": company.address,
        "order": order.number,
        "purchase_reference": order.purchase_reference,
    }


def _item(unit: Unit) -> dict[str, Any]:
    return {
        "number": unit.number,
        "serial": unit.serial,
        "equipment": EQUIPMENT_KINDS.get(unit.equipment, unit.equipment),
        "design": unit.design,
        "ratings": _ratings(unit.ratings),
        "received_on": unit.received_on,
        "condition": unit.condition,
    }


def _ratings(ratings: dict[str, Any]) -> list[dict[str, Any]]:
    known = [(name, value) for name, value in ratings.items() if name not in NOT_RATINGS and value not in (None, "")]
    return [
        {"label": RATING_NAMES.get(name, (name.replace("_", " "), ""))[0], "value": value, "unit": _unit_of(name)}
        for name, value in known
    ]


def _unit_of(name: str) -> str:
    return RATING_NAMES.get(name, ("", ""))[1]


def _plan(plan: Plan) -> dict[str, Any]:
    return {
        "revision": plan.revision,
        "digest": plan.digest,
        "packs": plan.document.get("packs", []),
        "not_planned": plan.document.get("not_planned", []),
        "notes": [*plan.document.get("notes", []), *plan.document.get("warnings", [])],
        "steps": [_step(step) for step in plan.steps.all()],
    }


def _step(step: Step) -> dict[str, Any]:
    procedure = step.document.get("procedure") or {}
    return {
        "position": step.position,
        "kind": step.kind,
        "title": step.title,
        "point": step.get_point_display() if step.point else "",
        "stages": procedure.get("stages", []),
        "criteria": procedure.get("criteria", []),
        "arrangements": [row.name for row in step.arrangements.all()],
        "basis": step.document.get("basis", []),
    }


def _run(run: Run) -> dict[str, Any]:
    evaluation = current_evaluation(run)
    if evaluation is None:
        raise ValueError(f"Run {run.number} stands without an evaluation.")
    return {
        "number": run.number,
        "step": run.step.position,
        "title": run.step.title,
        "arrangement": run.arrangement.name,
        "energised": run.arrangement.energised,
        "earthed": run.arrangement.earthed,
        "bay": run.bay.name,
        "started_at": run.started_at,
        "operator": run.operator.name,
        "second_person": run.second_person.name,
        "temperature_c": run.temperature_c,
        "pressure_kpa": run.pressure_kpa,
        "relative_humidity_pct": run.relative_humidity_pct,
        "verdict": run.verdict,
        "concession": any(row.disposition == "concession" for row in run.nonconformances.all()),
        "records": _records(evaluation),
        "evaluation": {"id": evaluation.pk, "version": evaluation.evaluation_version, "digest": evaluation.digest},
        "findings": _findings(evaluation),
        "checks": _checks(run.checks.all()),
        "remarks": [{"text": row.text, "by": row.made_by.name, "at": row.made_at} for row in run.remarks.all()],
        "sign_offs": [_sign_off(row) for row in run.sign_offs.all()],
    }


def _records(evaluation: Evaluation) -> list[dict[str, Any]]:
    """Return every file that was judged with its part, in the order in which findings number them."""
    record = evaluation.record
    listed = evaluation.document.get("records") or [{"sha256": record.sha256, "part": record.part}]
    known = {row.sha256: row for row in evaluation.run.records.all()}
    rows = [(known[one["sha256"]], one["part"]) for one in listed]
    return [
        {
            "id": row.pk,
            "name": "Trace of a sister unit" if row.is_of_another_customer else row.given_name,
            "part": _part_words(evaluation.run.step.kind, part) if len(rows) > 1 else "",
            "sha256": row.sha256,
            "size_bytes": row.size_bytes,
        }
        for row, part in rows
    ]


def _part_words(kind: str, name: str) -> str:
    part = part_named(kind, name)
    return part.words if part else name


def _findings(evaluation: Evaluation) -> list[dict[str, Any]]:
    told = evaluation.document.get("findings", ())
    corrected = {place: row["correction"] for place, row in enumerate(told, start=1) if row.get("correction")}
    return [
        ({"correction": corrected[row.position]} if row.position in corrected else {})
        | {
            "quantity": row.quantity,
            "stage": row.stage,
            "value": row.value,
            "unit": row.unit,
            "expanded_uncertainty": row.expanded_uncertainty,
            "coverage_factor": row.coverage_factor,
            "min": row.minimum,
            "max": row.maximum,
            "decision": row.decision,
            "judges": row.judges,
            "verdict": row.verdict,
            "reason": row.reason,
        }
        for row in evaluation.findings.all()
    ]


def _checks(checks: Iterable[SetupCheck]) -> list[dict[str, Any]]:
    """Return the check of each kind that counts: the last one made."""
    last = {row.kind: row for row in checks}
    return [
        {
            "kind": row.get_kind_display(),
            "values": row.values,
            "words": values_in_words(row.run.step.kind, row.values) if row.kind == SetupCheck.Kind.TEST_VALUES else "",
            "is_satisfied": row.is_satisfied,
            "by": row.made_by.name,
            "at": row.made_at,
        }
        for row in last.values()
    ]


def _sign_off(row: SignOff) -> dict[str, Any]:
    return {
        "printed_name": row.printed_name,
        "capacity": row.get_capacity_display(),
        "meaning": row.meaning,
        "signed_at": row.signed_at,
        "digest": row.digest,
    }


def _instruments(runs: list[Run]) -> list[dict[str, Any]]:
    """Return each instrument once for each calibration, and use of its corrections, with the runs it was used in."""
    found: dict[tuple[int, int | None, str], dict[str, Any]] = {}
    for run in runs:
        for use in run.instruments.all():
            key = (use.instrument_id, use.calibration_id, use.correction_words)
            row = found.setdefault(key, _instrument(use))
            row["runs"].append(run.number)
    return sorted(found.values(), key=lambda row: (row["identifier"], row["certificate"]))


def _instrument(use: RunInstrument) -> dict[str, Any]:
    instrument, calibration = use.instrument, use.calibration
    return {
        "identifier": instrument.identifier,
        "description": instrument.description,
        "serial": instrument.serial,
        "system": use.system.name if use.system else "",
        "certificate": calibration.certificate_number if calibration else "",
        "calibrated_by": calibration.laboratory if calibration else "",
        "calibrated_on": calibration.calibrated_on if calibration else None,
        "due_on": calibration.due_on if calibration else None,
        "relative_uncertainty_pct": calibration.relative_uncertainty_pct if calibration else None,
        "coverage_factor": calibration.coverage_factor if calibration else None,
        "corrections": use.correction_words,
        "is_valid": use.is_valid,
        "runs": [],
    }
