"""What a unit still lacks before a certificate can be asked for, and which runs speak for it."""

from __future__ import annotations

from dataclasses import dataclass

from records.models import Nonconformance, Run
from records.models.verdicts import Verdict
from records.selectors.evidence import evidence_of_plans
from schedules.models import Arrangement, Evidence, Plan, Step, Unit
from schedules.selectors.packs import blocking_words


@dataclass(frozen=True)
class Settled:
    """One arrangement of one step: the run or evidence that speaks for it, and the concession where it failed."""

    step: Step
    arrangement: Arrangement
    run: Run | None
    concession: Nonconformance | None
    missing: str
    evidence: Evidence | None = None

    @property
    def is_settled(self) -> bool:
        """Say whether nothing is missing here."""
        return not self.missing


def current_plan(unit: Unit) -> Plan | None:
    """Return the plan in force, with its steps and arrangements."""
    return unit.plans.filter(is_current=True).prefetch_related("steps__arrangements").first()


def settled_arrangements(plan: Plan) -> list[Settled]:
    """Return, in the order of the plan, what speaks for each arrangement of each step: the latest run that stands."""
    latest: dict[int, Run] = {}
    own = {
        arrangement.carried_from_id or arrangement.pk
        for step in plan.steps.all()
        for arrangement in step.arrangements.all()
    }
    for run in Run.objects.filter(arrangement__in=own).standing().for_detail().order_by("started_at", "pk"):
        latest[run.arrangement_id] = run
    cited = evidence_of_plans([plan.pk])
    return [
        _settle(step, arrangement, latest.get(arrangement.carried_from_id or arrangement.pk), cited.get(step.pk))
        for step in plan.steps.all()
        for arrangement in step.arrangements.all()
    ]


def _settle(step: Step, arrangement: Arrangement, run: Run | None, evidence: Evidence | None) -> Settled:
    place = f"{step.title}, {arrangement.name}"
    if run is None and evidence is not None:
        return Settled(step, arrangement, None, None, "", evidence)
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
