"""What a signature binds: one digest over plan, set-up, records and findings of a run."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

from labsite.ledger.canonical import canonical_bytes, plain
from records.evaluation.asked import as_setup, of_step
from records.models import Evaluation, Run, SetupCheck, StageMark
from records.models.procedure import procedure_of, stated_values
from records.selectors.earlier import LENDER, lent_by_earlier

# What the evaluation is given of a measuring system or instrument, by the quantity that it measures.
_COUNTED = frozenset({"voltage", "charge", "time"})
_COUNTED_BESIDE: Mapping[str, frozenset[str]] = {
    **dict.fromkeys(
        ("winding_resistance", "insulation_resistance", "temperature_rise"), frozenset({"resistance", "temperature"})
    ),
    **dict.fromkeys(("dissipation_factor", "capacitance"), frozenset({"impedance", "temperature"})),
    "inductance": frozenset({"impedance", "resistance", "temperature"}),
    "frequency_response": frozenset({"impedance"}),
}
# What the evaluation calls what an instrument measures, where the record's channel has another name.
MEANT: Mapping[str, Mapping[str, str]] = {"lightning_impulse": {"impulse": "voltage"}}
# What the temperature of the bay stands for: a unit that has rested in it has taken it up; common practice, no source.
_TEMPERATURE_OF: Mapping[str, str] = {
    **dict.fromkeys(("winding_resistance", "insulation_resistance", "inductance"), "temperature_c"),
    "temperature_rise": "ambient_c",
}


def digest_of(content: Any) -> str:
    """Return the SHA-256 over the one spelling (RFC 8785) of what is given."""
    return hashlib.sha256(canonical_bytes({"content": plain(content)})).hexdigest()


def current_evaluation(run: Run) -> Evaluation | None:
    """Return the evaluation that counts, or None: the last one, for each is over the set of files as it then stood.

    Earlier releases judged a record by itself; of such evaluations that of the record uploaded last counts.
    """
    return max(run.evaluations.all(), key=_counts, default=None)


def _counts(row: Evaluation) -> tuple[bool, int, int]:
    is_of_set = "records" in row.document
    return is_of_set, 0 if is_of_set else row.record_id, row.pk


def setup_document(run: Run) -> dict[str, Any]:
    """Return the set-up as the evaluation takes it: noise, charge calibration, uncertainties, and that all was held.

    That the source did not trip is stated where the operator marked every stage as held; it counts only where the
    record's samples are too far apart to tell. What else was marked is no statement: the record decides.
    """
    checks = {check.kind: check.values for check in run.checks.all()}
    setup: dict[str, Any] = {"instruments": measuring(run)}
    noise = checks.get(SetupCheck.Kind.BACKGROUND_NOISE)
    if noise is not None:
        setup["background_noise_pc"] = noise["noise_pc"]
    calibration = checks.get(SetupCheck.Kind.CHARGE_CALIBRATION)
    if calibration is not None:
        setup["charge_calibration"] = {"injected_pc": calibration["injected_pc"], "reading": calibration["reading"]}
    marked = {mark.stage: mark.outcome for mark in run.marks.all()}
    stages = procedure_of(run.step.document).get("stages") or ()
    if stages and all(marked.get(stage["name"]) == StageMark.Outcome.HELD for stage in stages):
        setup["tripped"] = False
    temperature = _TEMPERATURE_OF.get(run.step.kind)
    if temperature is not None and run.temperature_c is not None:
        setup[temperature] = run.temperature_c
    return setup | lent_by_earlier(run) | _stated(run)


def _stated(run: Run) -> dict[str, Any]:
    """Return the conditions that people stated on the sheet; they go before what is known otherwise."""
    beside = {*of_step(run.step.kind), LENDER}
    return as_setup({name: value for name, value in stated_values(run).items() if name not in beside})


def measuring(run: Run) -> list[dict[str, Any]]:
    """Return the systems used, each once, and the instruments that measure on their own, with their corrections."""
    rows: dict[str, dict[str, Any]] = {}
    counted = _COUNTED | _COUNTED_BESIDE.get(run.step.kind, frozenset())
    for use in run.instruments.all():
        quantity = MEANT.get(run.step.kind, {}).get(_measured_by(use), _measured_by(use))
        if quantity not in counted:
            continue
        if use.system is not None:
            rows[f"s{use.system_id}"] = _row(use.system.name, quantity, use.budget or use.system)
        elif use.calibration is not None:
            row = _row(use.instrument.identifier, quantity, use.calibration)
            rows[f"i{use.instrument_id}"] = row | ({"corrections": use.corrections} if use.corrections else {})
    return sorted(rows.values(), key=lambda row: (row["quantity"], row["name"]))


def _measured_by(use: Any) -> str:
    measured: str = use.system.quantity if use.system is not None else use.instrument.quantity
    return measured


def _row(name: str, quantity: str, source: Any) -> dict[str, Any]:
    return {
        "name": name,
        "quantity": quantity,
        "relative_uncertainty_pct": source.relative_uncertainty_pct,
        "coverage_factor": source.coverage_factor,
    }


def setup_used(run: Run, evaluation: Evaluation | None) -> dict[str, Any]:
    """Return the set-up that an evaluation was given; without one, or where it kept a digest only, as it is now."""
    if evaluation is None or evaluation.setup is None:
        return setup_document(run)
    used: dict[str, Any] = evaluation.setup
    return used


def signed_content(run: Run) -> dict[str, Any]:
    """Return everything that a signature on a run stands for, as plain values."""
    evaluation = current_evaluation(run)
    return {
        "run": run.number,
        "unit": [run.step.plan.unit.number, run.step.plan.unit.serial],
        "plan": run.step.plan.digest,
        "step": run.step.document,
        "arrangement": [run.arrangement.name, run.arrangement.energised, run.arrangement.earthed],
        "people": [run.operator_id, run.second_person_id],
        "conditions": [run.temperature_c, run.pressure_kpa, run.relative_humidity_pct],
        "setup": setup_used(run, evaluation),
        "instruments": [_use(use) for use in sorted(run.instruments.all(), key=lambda use: use.pk)],
        "checks": [
            [check.kind, check.values, check.is_satisfied, check.made_by_id]
            for check in sorted(run.checks.all(), key=lambda check: check.pk)
        ],
        "records": sorted(record.sha256 for record in run.records.all()),
        "evaluation": evaluation.digest if evaluation else None,
        "findings": _findings(evaluation),
        "verdict": run.verdict,
    }


def _use(use: Any) -> list[Any]:
    return [
        use.instrument_id,
        use.system_id,
        use.calibration_id,
        use.is_valid,
        use.overridden_by_id,
        use.override_reason,
    ]


def _findings(evaluation: Evaluation | None) -> list[list[Any]]:
    if evaluation is None:
        return []
    return [
        [
            row.quantity,
            row.stage,
            row.value,
            row.expanded_uncertainty,
            row.minimum,
            row.maximum,
            row.judges,
            row.verdict,
        ]
        for row in sorted(evaluation.findings.all(), key=lambda row: row.position)
    ]


def run_digest(run: Run) -> str:
    """Return the digest that is shown before signing, signed, and printed."""
    return digest_of(signed_content(run))
