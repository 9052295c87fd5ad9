"""Which instruments a run uses, with the calibration that holds today, or who overrode and why."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from django.utils import timezone

from equipment.models import Calibration, Instrument, MeasuringSystem
from equipment.selectors import instrument_status
from equipment.selectors.accuracy import CorrectionsUsed, corrections_used
from labsite.ledger.services import record_entry, writing
from labsite.people.roles import Role
from records.models import Run, RunInstrument
from records.selectors.gates import beyond_corrections, what_it_measures
from records.services import lifecycle
from records.services.refusals import Refused


def use_instrument(
    *, run: Run, instrument: Instrument, system: MeasuringSystem | None = None, by: Any
) -> RunInstrument:
    """List an instrument, and keep its calibration and status of today; one that is overdue is listed as such."""
    with writing():
        held = _prepared(run, by)
        return _list(held, instrument, system, by)


def use_system(*, run: Run, system: MeasuringSystem, by: Any) -> list[RunInstrument]:
    """List every instrument of a measuring system that is not listed yet."""
    with writing():
        held = _prepared(run, by)
        if system.ended_on is not None and system.ended_on <= timezone.localdate():
            raise Refused(f"The measuring system {system.name} ended on {system.ended_on}. Choose the one after it.")
        parts = [part.instrument for part in system.components.select_related("instrument")]
        if not parts:
            raise Refused(f"The measuring system {system.name} has no instruments yet. Add them first.")
        known = set(held.instruments.values_list("instrument_id", flat=True))
        return [_list(held, part, system, by) for part in parts if part.pk not in known]


def take_out_instrument(*, run: Run, instrument: Instrument, reason: str, by: Any) -> None:
    """Strike an instrument from the list before voltage, with a reason; the ledger keeps that it was there."""
    words = lifecycle.required_text(reason, "Say why the instrument is taken out; nothing was changed.")
    with writing():
        held = _prepared(run, by)
        use = held.instruments.filter(instrument=instrument).first()
        if use is None:
            raise Refused(f"{instrument} is not listed in run {held.number}.")
        told = {"instrument": [str(instrument), None], "status": [use.status_reason, None]}
        use.delete()
        record_entry(action="run.take_out_instrument", subject=held, changes=told, reason=words, by=by)


def override_calibration(*, run_instrument: RunInstrument, reason: str, by: Any) -> RunInstrument:
    """Let an instrument that is not in calibration be used in this one run; certificate and audit page print it."""
    lifecycle.require_role(by, Role.QUALITY_MANAGER, words="Only the quality manager may override a calibration.")
    words = lifecycle.required_text(reason, "An override needs a reason; the certificate prints it.")
    with writing():
        held = lifecycle.locked(run_instrument.run)
        lifecycle.require(held, "prepare")
        use = RunInstrument.objects.select_related("instrument").get(pk=run_instrument.pk)
        now = instrument_status(use.instrument, timezone.localdate(), listed=use.calibration)
        if use.is_valid and now.is_valid:
            raise Refused(f"{use.instrument} is in calibration today; there is nothing to override.")
        if not now.is_valid:
            use.is_valid, use.status_reason = False, now.reason[:300]
        if use.overridden_by_id is not None:
            raise Refused(f"{use.instrument} was already overridden in this run.")
        use.overridden_by, use.overridden_at, use.override_reason = by, timezone.now(), words
        kept = ["is_valid", "status_reason", "overridden_by", "overridden_at", "override_reason"]
        use.save(update_fields=kept)
        told = {"instrument": [None, str(use.instrument)], "status": [None, use.status_reason]}
        record_entry(action="run.override_calibration", subject=held, changes=told, reason=words, by=by)
        return use


def _prepared(run: Run, by: Any) -> Run:
    held = lifecycle.locked(run)
    lifecycle.require(held, "prepare")
    lifecycle.require_person_of(held, by)
    return held


def _list(run: Run, instrument: Instrument, system: MeasuringSystem | None, by: Any) -> RunInstrument:
    if run.instruments.filter(instrument=instrument).exists():
        raise Refused(f"{instrument} is already listed in run {run.number}.")
    if system is not None and not system.components.filter(instrument=instrument).exists():
        raise Refused(f"{instrument} is no part of the measuring system {system.name}.")
    today = timezone.localdate()
    status = instrument_status(instrument, today, measured=what_it_measures(run, instrument), system=system)
    calibration = _calibration(instrument, today)
    used = _corrections(calibration, system)
    beyond = beyond_corrections(run, instrument.quantity, used.curves) if status.is_valid else ""
    if beyond:
        status = replace(status, is_valid=False, code="outside_range", reason=beyond)
    use = RunInstrument.objects.create(
        run=run,
        instrument=instrument,
        system=system,
        calibration=calibration,
        status_reason=status.reason[:300],
        is_valid=status.is_valid,
        budget=system.budgets.order_by("-number").first() if system else None,
        corrections=list(used.curves),
        correction_words=used.words[:600],
    )
    told = {"instrument": [None, str(instrument)], "status": [None, status.reason]}
    told |= {"system": [None, system.name if system else None], "calibration": [None, str(calibration or "")]}
    told |= {"corrections": [None, used.words]} if used.words else {}
    record_entry(action="run.use_instrument", subject=run, changes=told, by=by)
    return use


def _corrections(calibration: Calibration | None, system: MeasuringSystem | None) -> CorrectionsUsed:
    if system is not None:
        return CorrectionsUsed(f"In the scale factor of {system.name}.")
    return corrections_used(calibration) if calibration is not None else CorrectionsUsed("")


def _calibration(instrument: Instrument, today: date) -> Calibration | None:
    """Return the calibration that counts: the latest; of several on one day a failed one, then the earliest due."""
    done = instrument.calibrations.filter(calibrated_on__lte=today)
    return min(
        done,
        key=lambda row: (-row.calibrated_on.toordinal(), row.verdict != Calibration.Verdict.OUTSIDE, row.due_on),
        default=None,
    )
