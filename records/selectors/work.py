"""Today: what each person should do next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from labsite.people.roles import Role
from records.models import Nonconformance, Record, Run
from records.selectors.progress import OVER, UnitStatus, unit_statuses
from schedules.models import Order, Unit

_MOST = 50
_NEXT = {
    Run.State.SETUP: "Complete the set-up",
    Run.State.ENERGISED: "Hold the stages, then upload the record",
    Run.State.RECORDED: "The record is being judged",
    Run.State.JUDGED: "Read the findings and sign as tester",
}


@dataclass(frozen=True)
class Task:
    """One thing to do: words, the run or unit that it is about, and the verb of its button."""

    words: str
    verb: str
    run: Run | None = None
    status: UnitStatus | None = None
    nonconformance: Nonconformance | None = None
    order: Order | None = None
    record: Record | None = None


@dataclass(frozen=True)
class WorkList:
    """Things of one kind to do, with what to say where there are none."""

    title: str
    tasks: tuple[Task, ...]
    empty: str


def today(viewer: Any) -> list[WorkList]:
    """Return the work lists of a person of the laboratory, the most pressing first."""
    lists = []
    units = list(Unit.objects.visible_to(viewer).for_list().order_by("-pk")[: 4 * _MOST])
    statuses = list(unit_statuses(units).values())
    if viewer.has_role(Role.TESTER):
        lists += [_own_runs(viewer), _columns(viewer), _to_test(statuses)]
    if viewer.has_role(Role.APPROVER):
        lists += [_to_review(viewer), _to_certify(statuses), _orders(viewer)]
    if viewer.has_role(Role.APPROVER, Role.QUALITY_MANAGER):
        lists.append(_nonconformances(viewer))
    lists.append(_to_plan(statuses))
    return lists


def _own_runs(viewer: Any) -> WorkList:
    mine = Q(operator=viewer) | Q(second_person=viewer)
    runs = Run.objects.visible_to(viewer).for_list().filter(mine).filter(state__in=list(_NEXT))[:_MOST]
    tasks = tuple(Task(_NEXT[Run.State(run.state)], "Open the run sheet", run=run) for run in runs)
    return WorkList("Your open runs", tasks, "You have no open run. Start one from the list below.")


def _columns(viewer: Any) -> WorkList:
    records = Record.objects.visible_to(viewer).filter(state=Record.State.NEEDS_MAPPING)
    rows = records.exclude(run__state__in=OVER).select_related("run__step__plan__unit__order__customer")[:_MOST]
    tasks = tuple(Task("Tell which column is which", "Tell the columns", run=row.run, record=row) for row in rows)
    return WorkList("Records that wait for you", tasks, "Every record could be read by its heads.")


def _to_test(statuses: list[UnitStatus]) -> WorkList:
    open_to_test = ("planned", "in_test", "awaiting_review", "nonconforming")
    rows = [row for row in statuses if row.code in open_to_test and row.next_arrangement is not None]
    tasks = tuple(Task(_next_words(row), "Start a run", status=row) for row in rows[:_MOST])
    return WorkList("To test", tasks, "Nothing waits for a test. A unit comes here as soon as it has a plan.")


def _next_words(status: UnitStatus) -> str:
    row = status.next_arrangement
    if row is None:
        return ""
    what = f"{row.arrangement.step.title}, {row.arrangement.name}"
    return f"Repeat: {what}" if row.runs else what


def _to_review(viewer: Any) -> WorkList:
    runs = Run.objects.visible_to(viewer).for_list().filter(state=Run.State.SIGNED)
    others = runs.exclude(operator=viewer).exclude(second_person=viewer).order_by("pk")[:_MOST]
    tasks = tuple(Task(run.get_verdict_display(), "Review", run=run) for run in others)
    return WorkList("To review", tasks, "No run waits for review. A run comes here when its tester has signed.")


def _to_certify(statuses: list[UnitStatus]) -> WorkList:
    rows = [row for row in statuses if row.code == "ready_for_certificate"][:_MOST]
    tasks = tuple(Task("Every step is done", "Open the unit", status=row) for row in rows)
    return WorkList("Ready for a certificate", tasks, "No unit is ready. One comes here when its last run is approved.")


def _orders(viewer: Any) -> WorkList:
    orders = Order.objects.visible_to(viewer).filter(reviewed_at__isnull=True).select_related("customer")[:_MOST]
    tasks = tuple(Task("Contract review", "Review the order", order=order) for order in orders)
    return WorkList("Orders to review", tasks, "Every order has its contract review.")


def _nonconformances(viewer: Any) -> WorkList:
    rows = Nonconformance.objects.visible_to(viewer).for_list().filter(disposition="")[:_MOST]
    tasks = tuple(Task("Decide what becomes of the unit", "Decide", run=row.run, nonconformance=row) for row in rows)
    return WorkList("Nonconformances to decide", tasks, "Nothing waits for a decision.")


def _to_plan(statuses: list[UnitStatus]) -> WorkList:
    rows = [row for row in statuses if row.code == "awaiting_plan"][:_MOST]
    tasks = tuple(Task("Derive the plan", "Open the unit", status=row) for row in rows)
    return WorkList("Units without a plan", tasks, "Every unit has a plan.")
