"""How far units, steps and arrangements are."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from records.models import Certificate, Nonconformance, Run
from records.models.verdicts import Verdict
from records.selectors.evidence import evidence_of_plans
from schedules.models import Arrangement, Plan, Step, Unit

OVER = (Run.State.APPROVED, Run.State.ABANDONED)
_STANDS = (Verdict.CONFORMS, Verdict.DOES_NOT_CONFORM)
STATUSES: Mapping[str, tuple[str, str, str]] = {
    "awaiting_plan": ("Awaiting plan", "", "Derive the plan from the ratings."),
    "planned": ("Planned", "", "Start the first run."),
    "in_test": ("In test", "active", "Go on with the runs that are open or still to do."),
    "awaiting_review": ("Awaiting review", "active", "An approver reviews what is signed."),
    "nonconforming": ("Nonconforming", "bad", "Decide the nonconformance, or carry out the retest."),
    "ready_for_certificate": ("Ready for certificate", "ok", "Compose the certificate."),
    "certified": ("Certified", "ok", "Nothing is left to do; the customer has the certificate."),
}


@dataclass(frozen=True)
class ArrangementProgress:
    """One arrangement with its runs, oldest first."""

    arrangement: Arrangement
    runs: tuple[Run, ...]
    is_conceded: bool = False
    is_cited: bool = False

    @property
    def last(self) -> Run | None:
        """Return the last run, or None."""
        return self.runs[-1] if self.runs else None

    @property
    def open_run(self) -> Run | None:
        """Return the run that is neither approved nor abandoned, or None."""
        return self.last if self.last is not None and self.last.state not in OVER else None

    @property
    def standing(self) -> Run | None:
        """Return the last run that stands, or None."""
        rows = [run for run in self.runs if run.state == Run.State.APPROVED and run.verdict in _STANDS]
        return rows[-1] if rows else None

    @property
    def is_done(self) -> bool:
        """Say whether nothing more is tested here: the unit conforms, the customer conceded, or evidence holds."""
        if self.standing is None and self.is_cited:
            return True
        return self.standing is not None and (self.standing.verdict == Verdict.CONFORMS or self.is_conceded)


@dataclass(frozen=True)
class StepProgress:
    """One step with its arrangements."""

    step: Step
    arrangements: tuple[ArrangementProgress, ...]

    @property
    def is_done(self) -> bool:
        """Say whether each arrangement is done."""
        return all(row.is_done for row in self.arrangements)


@dataclass(frozen=True)
class UnitStatus:
    """Where a unit stands, in a word and in what comes next."""

    unit: Unit
    code: str
    steps: tuple[StepProgress, ...]
    done: int
    total: int

    @property
    def words(self) -> str:
        """Return the status in a word."""
        return STATUSES[self.code][0]

    @property
    def tone(self) -> str:
        """Return the tone of the status component."""
        return STATUSES[self.code][1]

    @property
    def next_words(self) -> str:
        """Return what to do next."""
        return STATUSES[self.code][2]

    @property
    def next_arrangement(self) -> ArrangementProgress | None:
        """Return the first arrangement that is not done and has no open run, or None."""
        rows = (row for step in self.steps for row in step.arrangements)
        return next((row for row in rows if not row.is_done and row.open_run is None), None)


def unit_status(unit: Unit) -> UnitStatus:
    """Return where one unit stands."""
    return unit_statuses([unit])[unit.pk]


def unit_statuses(units: Iterable[Unit]) -> dict[int, UnitStatus]:
    """Return where units stand, by key of the unit, in as many queries for one as for many."""
    rows = list(units)
    keys = [unit.pk for unit in rows]
    plans = Plan.objects.filter(unit__in=keys, is_current=True).prefetch_related("steps__arrangements")
    by_unit = {plan.unit_id: plan for plan in plans}
    cited = evidence_of_plans(plan.pk for plan in by_unit.values())
    runs = _runs_by_arrangement(keys)
    nonconformances = _nonconformances(keys)
    certified = set(
        Certificate.objects.filter(unit__in=keys, state=Certificate.State.ISSUED).values_list("unit_id", flat=True)
    )
    return {
        unit.pk: _status(unit, by_unit.get(unit.pk), runs, nonconformances[unit.pk], unit.pk in certified, cited)
        for unit in rows
    }


def _runs_by_arrangement(unit_keys: list[int]) -> dict[int, list[Run]]:
    grouped: dict[int, list[Run]] = defaultdict(list)
    for run in Run.objects.filter(step__plan__unit__in=unit_keys).order_by("pk"):
        grouped[run.arrangement_id].append(run)
    return grouped


def _nonconformances(unit_keys: list[int]) -> dict[int, list[Nonconformance]]:
    grouped: dict[int, list[Nonconformance]] = defaultdict(list)
    found = Nonconformance.objects.filter(run__step__plan__unit__in=unit_keys).select_related("run__step__plan")
    for row in found:
        grouped[row.run.step.plan.unit_id].append(row)
    return grouped


def _status(
    unit: Unit,
    plan: Plan | None,
    runs: Mapping[int, list[Run]],
    nonconformances: list[Nonconformance],
    is_certified: bool,
    cited: Container[int],
) -> UnitStatus:
    conceded = {row.run_id for row in nonconformances if row.disposition == Nonconformance.Disposition.CONCESSION}
    steps = tuple(_step(step, runs, conceded, step.pk in cited) for step in plan.steps.all()) if plan else ()
    arrangements = [row for step in steps for row in step.arrangements]
    done = sum(row.is_done for row in arrangements)
    code = _code(plan, arrangements, nonconformances, is_certified)
    return UnitStatus(unit, code, steps, done, len(arrangements))


def _step(step: Step, runs: Mapping[int, list[Run]], conceded: set[int], is_cited: bool) -> StepProgress:
    made = []
    for arrangement in step.arrangements.all():
        own = tuple(runs.get(arrangement.carried_from_id or arrangement.pk, ()))
        progress = ArrangementProgress(arrangement, own)
        is_conceded = progress.standing is not None and progress.standing.pk in conceded
        made.append(ArrangementProgress(arrangement, own, is_conceded, is_cited))
    return StepProgress(step, tuple(made))


def _code(plan: Any, rows: list[ArrangementProgress], nonconformances: list[Nonconformance], is_certified: bool) -> str:
    if plan is None:
        return "awaiting_plan"
    if is_certified:
        return "certified"
    scrap = Nonconformance.Disposition.SCRAP
    if any(row.closed_at is None or row.disposition == scrap for row in nonconformances):
        return "nonconforming"
    if rows and all(row.is_done for row in rows):
        return "ready_for_certificate"
    if any(row.last is not None and row.last.state == Run.State.SIGNED for row in rows):
        return "awaiting_review"
    return "in_test" if any(row.runs for row in rows) else "planned"
