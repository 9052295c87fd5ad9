"""What a unit still lacks before a certificate can be asked for, and which runs speak for it."""

from __future__ import annotations

from dataclasses import dataclass

from records.models import Nonconformance, Run
from records.models.verdicts import Verdict
from schedules.models import Arrangement, Plan, Step, Unit
from schedules.selectors.packs import blocking_words


@dataclass(frozen=True)
class Settled:
    """One arrangement of one step: the run that speaks for it, and the concession where it did not conform."""

    step: Step
    arrangement: Arrangement
    run: Run | None
    concession: Nonconformance | None
    missing: str

    @property
    def is_settled(self) -> bool:
        """Say whether nothing is missing here."""
        return not self.missing


def current_plan(unit: Unit) -> Plan | None:
    """Return the plan in force, with its steps and arrangements."""
    return unit.plans.filter(is_current=True).prefetch_related("steps__arrangements").first()


def settled_arrangements(plan: Plan) -> list[Settled]:
    """Return, in the order of the plan, what speaks for each arrangement of each step: the latest run that stands."""
    latest: dict[tuple[int, int], Run] = {}
    standing = Run.objects.filter(step__plan=plan).standing().for_detail().order_by("started_at", "pk")
    for run in standing:
        latest[run.step_id, run.arrangement_id] = run
    return [
        _settle(step, arrangement, latest.get((step.pk, arrangement.pk)))
        for step in plan.steps.all()
        for arrangement in step.arrangements.all()
    ]


def _settle(step: Step, arrangement: Arrangement, run: Run | None) -> Settled:
    place = f"{step.title}, {arrangement.name}"
    if run is None:
        return Settled(step, arrangement, None, None, f"{place}: no approved run that judged the unit.")
    if run.verdict == Verdict.CONFORMS:
        return Settled(step, arrangement, run, None, "")
    found = [row for row in run.nonconformances.all() if row.disposition == Nonconformance.Disposition.CONCESSION]
    if found:
        return Settled(step, arrangement, run, found[0], "")
    words = f"{place}: run {run.number} did not conform, and the customer has conceded nothing. Retest, or record it."
    return Settled(step, arrangement, run, None, words)


def missing_for_certificate(unit: Unit) -> list[str]:
    """Return in words what is missing, empty where a certificate can be asked for."""
    plan = current_plan(unit)
    if plan is None:
        return ["The unit has no plan yet. Derive one from its ratings."]
    rows = settled_arrangements(plan)
    if not rows:
        return ["The plan has no step with an arrangement, so there is nothing to certify."]
    return [*(row.missing for row in rows if row.missing), *blocking_words(plan)]
