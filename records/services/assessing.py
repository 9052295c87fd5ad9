"""The background part of nonconforming work: trace the runs, recompute them in parts, draft the letters."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Q
from django.utils import timezone

from equipment.models import Calibration, CalibrationPoint, Instrument, MeasuringSystem, SystemComponent
from equipment.selectors.accuracy import errors_as
from labsite.jobs.services import Progress, enqueue
from labsite.ledger.services import record_entry
from labsite.people.models import Laboratory
from records.evaluation.corrections import parse_corrections
from records.evaluation.findings import Finding as PureFinding
from records.evaluation.recomputing import (
    NOTHING_KNOWN,
    OWN_RULES,
    Known,
    Recomputed,
    RecomputedRun,
    WrongInstrument,
    part_of_the_way,
    recompute,
)
from records.models import AffectedFinding, AffectedRun, CustomerLetter, Finding, NonconformingWork, Run, RunInstrument
from records.models.procedure import placed_stages, procedure_of
from records.selectors.digests import current_evaluation
from records.selectors.impact import as_shown, backward_trace
from records.services.impact import PART_JOB
from records.services.letters import letter_text

RUNS_A_PART = 400
OF_THE_AIR = frozenset({"pressure", "humidity"})  # they decide a level where the plan has it corrected for the air
AS_FOUND, AS_LEFT = CalibrationPoint.Moment.AS_FOUND, CalibrationPoint.Moment.AS_LEFT


def trace(progress: Progress, work_id: int) -> None:
    """List every run that used the instrument since the last good calibration, and have them recomputed in parts."""
    work = _work(work_id)
    progress.stage("Tracing", 20)
    rows = _traced(work)
    with progress.completing():
        AffectedRun.objects.bulk_create(rows, ignore_conflicts=True)
        keys = list(work.runs.filter(recomputed_at__isnull=True).order_by("pk").values_list("pk", flat=True))
        for first in range(0, len(keys), RUNS_A_PART):
            part = keys[first : first + RUNS_A_PART]
            args = {"work_id": work.pk, "first": part[0], "last": part[-1]}
            enqueue(name=PART_JOB, args=args, key=f"{PART_JOB}:{work.pk}:{part[0]}", by=work.opened_by)
        told = {"runs": [None, len(rows)]}
        record_entry(action="impact.trace", subject=work, changes=told, by=work.opened_by)
        if not keys:
            _settle(work)


def _work(work_id: int) -> NonconformingWork:
    rows = NonconformingWork.objects.select_related("calibration__instrument", "good_calibration", "opened_by")
    return rows.get(pk=work_id)


def _traced(work: NonconformingWork) -> list[AffectedRun]:
    uses: dict[int, RunInstrument] = {}
    instrument = work.calibration.instrument
    for use in backward_trace(instrument, work.from_on, work.to_on).iterator(chunk_size=2000):
        if use.run_id not in uses or use.instrument_id == instrument.pk:
            uses[use.run_id] = use
    good = work.from_on.toordinal() if work.from_on else None
    return [
        AffectedRun(
            work=work,
            run=use.run,
            through=use.system.name if use.system else "",
            part=part_of_the_way(
                good_ordinal=good,
                found_ordinal=work.to_on.toordinal(),
                run_ordinal=timezone.localdate(use.run.started_at).toordinal(),
            ),
        )
        for use in uses.values()
    ]


def recompute_part(progress: Progress, work_id: int, first: int, last: int) -> None:
    """Recompute the affected runs from one key to another; whoever ends last drafts the letters."""
    work = _work(work_id)
    wrong = wrong_instruments(work)
    progress.stage("Recomputing", 10)
    part = recomputed(work, first, last, wrong)
    progress.stage("Saving", 80)
    with progress.completing():
        store_part(part)
        if not work.runs.filter(recomputed_at__isnull=True).exists():
            _settle(work)


@dataclass(frozen=True)
class Part:
    """Some affected runs with what they become, and their findings; not stored yet."""

    runs: list[AffectedRun]
    findings: list[AffectedFinding]


def recomputed(work: NonconformingWork, first: int, last: int, wrong: list[WrongInstrument]) -> Part:
    """Return the affected runs from one key to another that nobody has recomputed yet, recomputed."""
    waiting = work.runs.filter(recomputed_at__isnull=True, pk__gte=first, pk__lte=last)
    rows = list(waiting.prefetch_related("run__evaluations__findings").select_related("run"))
    known = known_by_run(work, [row.run_id for row in rows])
    factors = GuardFactorsOfPlans()
    return Part(
        rows, [one for row in rows for one in _recomputed(row, wrong, known.get(row.run_id, NOTHING_KNOWN), factors)]
    )


def store_part(part: Part) -> int:
    """Store a part and return how many runs it has."""
    fields = ["verdict_before", "verdict_constant", "verdict_linear", "effect_constant", "effect_linear"]
    AffectedFinding.objects.bulk_create(part.findings, batch_size=500, ignore_conflicts=True)
    AffectedRun.objects.bulk_update(part.runs, [*fields, "recomputed_at"], batch_size=200)
    return len(part.runs)


def wrong_instruments(work: NonconformingWork) -> list[WrongInstrument]:
    """Return what was found, one for each unit of the points as found.

    What the instrument measures in a unit is what its ranges in that unit say; else its own quantity.
    """
    instrument = work.calibration.instrument
    measured = {row.unit: row.quantity for row in instrument.ranges.all() if row.quantity != instrument.quantity}
    measured |= {row.unit: row.quantity for row in instrument.ranges.all() if row.quantity == instrument.quantity}
    units = {point.unit for point in work.calibration.points.all() if point.moment == AS_FOUND}
    curves = []
    for unit in sorted(units):
        found = errors_as(work.calibration, AS_FOUND, unit)
        if found is not None:
            quantity = measured.get(unit, instrument.quantity)
            curves.append(WrongInstrument(quantity, found, _left(work.good_calibration, unit)))
    return curves


def known_by_run(work: NonconformingWork, runs: list[int]) -> dict[int, Known]:
    """Return what was known of the instrument's error when each run used it; what knew nothing is left out.

    On its own, the corrections that were applied. Through a measuring system, what the calibration that counted on the
    day of its assignment had left: the assigned scale factor contains it.
    """
    instrument = work.calibration.instrument
    parts = SystemComponent.objects.filter(instrument=instrument).values("system")
    uses = RunInstrument.objects.filter(run__in=runs).select_related("system").order_by("pk")
    by_system: dict[int, Known] = {}
    found: dict[int, Known] = {}
    for use in uses.filter(Q(instrument=instrument) | Q(system__in=parts)):
        if use.instrument_id != instrument.pk and use.run_id in found:
            continue
        if use.system is None:
            found[use.run_id] = _applied(use)
        else:
            if use.system_id not in by_system:
                by_system[use.system_id] = _contained(instrument, use.system)
            found[use.run_id] = by_system[use.system_id]
    return {run: known for run, known in found.items() if known.curves}


def _applied(use: RunInstrument) -> Known:
    used = parse_corrections(use.corrections) if use.corrections else ()
    return Known({one.unit: one.curve for one in used if one.use == "applied"})


def _contained(instrument: Instrument, system: MeasuringSystem) -> Known:
    done = instrument.calibrations.filter(calibrated_on__lte=system.assigned_on).counting_first()
    counted = done.prefetch_related("points").first()
    if counted is None:
        return NOTHING_KNOWN
    curves = {unit: _left(counted, unit) for unit in {point.unit for point in counted.points.all()}}
    return Known({unit: curve for unit, curve in curves.items() if curve is not None})


class GuardFactorsOfPlans:
    """The guard factors of customers' own rules, looked up in the plan of a step once."""

    def __init__(self) -> None:
        self._by_step: dict[int, dict[tuple[str, str | None], float]] = {}

    def of(self, run: Run, findings: Iterable[Finding]) -> dict[tuple[str, str | None], float]:
        """Return r of w = r·U by quantity and stage; empty where no finding has a rule of its own."""
        if not any(row.decision in OWN_RULES for row in findings):
            return {}
        if run.step_id not in self._by_step:
            criteria = procedure_of(run.step.document).get("criteria") or ()
            self._by_step[run.step_id] = {
                (row["quantity"], row.get("stage") or None): float(row["guard_factor"])
                for row in criteria
                if row.get("guard_factor") is not None
            }
        return self._by_step[run.step_id]


def _left(good: Calibration | None, unit: str) -> Any:
    return errors_as(good, AS_LEFT, unit) or (
        None if good is None or good.was_adjusted else errors_as(good, AS_FOUND, unit)
    )


def _recomputed(
    row: AffectedRun, wrong: list[WrongInstrument], known: Known, factors: GuardFactorsOfPlans
) -> Iterable[AffectedFinding]:
    """Set what the run's verdict becomes, and return its findings recomputed."""
    row.recomputed_at = timezone.now()
    evaluation = current_evaluation(row.run)
    row.verdict_before = row.run.verdict or (evaluation.verdict if evaluation else "")
    if evaluation is None or not wrong:
        row.effect_constant = row.effect_linear = "untouched" if evaluation is None else "doubtful"
        row.verdict_constant = row.verdict_linear = row.verdict_before
        return []
    stored = list(evaluation.findings.all())
    if {one.quantity for one in wrong} & OF_THE_AIR and not placed_stages(row.run):
        wrong = [one for one in wrong if one.quantity not in OF_THE_AIR]
    pure = [_pure(finding) for finding in stored]
    said = {"known": known, "guard_factors": factors.of(row.run, stored)}
    constant, linear = recompute(pure, wrong, 1.0, **said), recompute(pure, wrong, row.part, **said)
    row.verdict_constant, row.effect_constant = _outcome(row, constant)
    row.verdict_linear, row.effect_linear = _outcome(row, linear)
    pairs = zip(stored, constant.findings, linear.findings, strict=True)
    return [_affected(row, *triple) for triple in pairs]


def _outcome(row: AffectedRun, made: RecomputedRun) -> tuple[str, str]:
    """Return verdict and effect; where the findings alone do not give the verdict that stands, it is doubtful."""
    if row.verdict_before and made.before != row.verdict_before:
        return made.verdict, "doubtful"
    return made.verdict, made.effect


def _pure(row: Finding) -> PureFinding:
    return PureFinding(
        quantity=row.quantity,
        unit=row.unit,
        stage=row.stage or None,
        value=row.value,
        expanded_uncertainty=row.expanded_uncertainty,
        coverage_factor=row.coverage_factor or 2.0,
        minimum=row.minimum,
        maximum=row.maximum,
        decision=row.decision,
        probability_of_conformity=row.probability_of_conformity,
        judges="test" if row.judges == "test" else "unit",
        verdict=row.verdict,  # type: ignore[arg-type]
        reason=row.reason,
    )


def _affected(row: AffectedRun, stored: Finding, constant: Recomputed, linear: Recomputed) -> AffectedFinding:
    return AffectedFinding(
        affected=row,
        finding=stored,
        error_constant=constant.error,
        value_constant=constant.value,
        verdict_constant=constant.verdict,
        effect_constant=constant.effect,
        reason_constant=constant.reason[:300],
        error_linear=linear.error,
        value_linear=linear.value,
        verdict_linear=linear.verdict,
        effect_linear=linear.effect,
        reason_linear=linear.reason[:300],
    )


def _settle(work: NonconformingWork) -> None:
    """Put the work before people, and draft a letter to each customer whose results change or are in doubt."""
    for customer, rows in _by_customer(work).items():
        CustomerLetter.objects.get_or_create(
            work=work,
            customer=customer,
            defaults={"text": letter_text(work, customer, rows, Laboratory.objects.first())},
        )
    now = timezone.now()
    NonconformingWork.objects.filter(pk=work.pk).update(state=NonconformingWork.State.TO_DECIDE, traced_at=now)
    told = {"state": [NonconformingWork.State.TRACING, NonconformingWork.State.TO_DECIDE]}
    record_entry(action="impact.recomputed", subject=work, changes=told, by=work.opened_by)


def _by_customer(work: NonconformingWork) -> dict[Any, list[Any]]:
    touched = work.runs.exclude(effect_constant__in=("stands", "untouched"), effect_linear__in=("stands", "untouched"))
    rows = touched.select_related("run__step__plan__unit__order__customer", "run__arrangement").order_by("run_id")
    found: dict[Any, list[Any]] = {}
    for shown in as_shown(list(rows)):
        found.setdefault(shown.row.run.step.plan.unit.order.customer, []).append(shown)
    return found
