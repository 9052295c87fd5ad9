"""What a certificate must admit: overrides of calibration, concessions, and earlier runs that found a fault."""

from __future__ import annotations

from labsite.ledger.canonical import instant
from records.certificates.wording import day_words, moment_words
from records.models import Nonconformance, Run, RunInstrument
from records.models.procedure import place_words
from records.selectors.evidence import evidence_of_plans
from schedules.models import Evidence, Plan, Unit


def deviations_of(unit: Unit, plan: Plan, runs: list[Run]) -> list[dict[str, str]]:
    """Return each deviation with its kind and its words, in the order of the runs."""
    overridden = [use for run in runs for use in run.instruments.all() if use.overridden_by_id]
    told = [{"kind": "Calibration override", "words": _override(use)} for use in overridden]
    found = (
        Nonconformance.objects.filter(run__step__plan__unit=unit)
        .select_related("run__step", "run__arrangement", "decided_by", "closed_by_run")
        .order_by("opened_at", "pk")
    )
    told += [{"kind": "Nonconformance", "words": _nonconformance(row)} for row in found]
    told += [{"kind": "Evidence", "words": _evidence(row)} for row in evidence_of_plans([plan.pk]).values()]
    told += [
        {"kind": "Levels at the place", "words": f"Run {run.number}. {' '.join(words)}"}
        for run in runs
        if (words := place_words(run))
    ]
    released = [step for step in plan.steps.all() if step.release_reason]
    told += [
        {"kind": f"{step.get_point_display()} released", "words": f"{step.title}: {step.release_reason}"}
        for step in released
    ]
    return told


def _override(use: RunInstrument) -> str:
    who = use.overridden_by.name if use.overridden_by else ""
    when = moment_words(instant(use.overridden_at)) if use.overridden_at else ""
    status = use.status_reason.rstrip(".") or "it was not in calibration"
    return (
        f"Run {use.run.number} used {use.instrument.identifier} ({use.instrument.description}) although: {status}. "
        f"{who}, quality manager, allowed it on {when}: {use.override_reason}"
    )


def _evidence(row: Evidence) -> str:
    sister = row.source_step.plan.unit
    return (
        f"{row.step.title} was not made on this unit. The type test of {sister.serial}, of the same design "
        f"{sister.design}, is cited: {row.reason} ({row.cited_by.name}, {day_words(row.cited_at.date())})"
    )


def _nonconformance(row: Nonconformance) -> str:
    run = row.run
    day = day_words(run.started_at.date())
    words = f"Run {run.number} ({run.step.title}, {run.arrangement.name}, {day}) did not conform."
    if row.disposition:
        who = row.decided_by.name if row.decided_by else ""
        words += f" Decided by {who}: {row.get_disposition_display().lower()}. {row.disposition_reason}"
    if row.closed_by_run:
        words += f" Closed by run {row.closed_by_run.number}."
    return words
