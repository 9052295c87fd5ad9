"""What stands beside the findings when a run is reviewed: its way, the facts, and what hinders this reviewer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils import timezone

from labsite.people.roles import Role
from records.models import Run, RunInstrument
from records.selectors.digests import current_evaluation
from records.selectors.gates import latest_checks
from records.selectors.sheet import TimelineStep, check_words
from schedules.selectors import authorised

_ORDER = (Run.State.SETUP, Run.State.ENERGISED, Run.State.RECORDED, Run.State.JUDGED, Run.State.SIGNED)
_AFTER = {
    "conforms": ("Certificate", "when every step of the unit is done"),
    "does_not_conform": ("Nonconformance", "somebody decides what becomes of the unit"),
    "inconclusive": ("Repeat", "the arrangement is open for another run"),
    "not_valid": ("Repeat", "the arrangement is open for another run"),
}
_LABELS = ("Set-up", "Energised", "Record", "Tester's signature", "Review")


@dataclass(frozen=True)
class Fact:
    """One fact under its name."""

    label: str
    value: str
    note: str = ""


def way_of(run: Run) -> list[TimelineStep]:
    """Return the way of a run and where it stands."""
    if run.state == Run.State.ABANDONED:
        return [TimelineStep("Abandoned", run.abandon_reason, "blocked", "")]
    reached = len(_ORDER) if run.state == Run.State.APPROVED else _ORDER.index(Run.State(run.state))
    details = _details(run)
    steps = [TimelineStep(label, details[place], _state(place, reached), "") for place, label in enumerate(_LABELS)]
    after = "current" if run.state == Run.State.APPROVED else "todo"
    label, detail = _AFTER.get(run.verdict, _AFTER["conforms"])
    return [*steps, TimelineStep(label, detail, after, "")]


def _state(place: int, reached: int) -> str:
    return "done" if place < reached else "current" if place == reached else "todo"


def _details(run: Run) -> list[str]:
    marks = [timezone.localtime(mark.marked_at) for mark in run.marks.all()]
    evaluation = current_evaluation(run)
    rows = evaluation.document["recording"]["rows"] if evaluation else 0
    signed = {sign.capacity: sign.printed_name for sign in run.sign_offs.all()}
    return [
        f"begun {timezone.localtime(run.started_at):%d %b %Y %H:%M}",
        f"{min(marks):%H:%M} to {max(marks):%H:%M}" if marks else "",
        f"{rows:,} rows".replace(",", "\N{THIN SPACE}") if rows else "",
        signed.get("tester", ""),
        signed.get("approver", "waiting" if run.state == Run.State.SIGNED else ""),
    ]


def facts_of(run: Run) -> list[Fact]:
    """Return measuring systems, checks, conditions and people in words."""
    facts = [Fact(use.instrument.identifier, use_words(use), use.status_reason) for use in run.instruments.all()]
    for check in latest_checks(run).values():
        facts.append(Fact(check.get_kind_display(), check_words(check), check.reason))
    if run.temperature_c is not None and run.pressure_kpa is not None and run.relative_humidity_pct is not None:
        words = f"{run.temperature_c:.4g} °C · {run.pressure_kpa:.4g} kPa · {run.relative_humidity_pct:.3g} % r.h."
        facts.append(Fact("Conditions", words))
    day = timezone.localtime(run.started_at)
    facts.append(Fact("Performed by", f"{run.operator}, with {run.second_person} · {day:%d %b %Y}", str(run.bay)))
    return facts


def use_words(use: RunInstrument) -> str:
    """Return an instrument's place in the circuit in few words, with its due date."""
    due = f"due {use.calibration.due_on.day} {use.calibration.due_on:%b %Y}" if use.calibration else "never calibrated"
    where = use.system.name if use.system else use.instrument.get_quantity_display()
    return f"{where} · {due}{' · used by override' if use.overridden_by_id else ''}"


def hindrance(run: Run, viewer: Any) -> str:
    """Return in words why this person may not sign this run now; empty where nothing hinders."""
    if run.state != Run.State.SIGNED:
        return f"The run stands at “{run.get_state_display()}”; it can be reviewed once its tester has signed."
    if not viewer.has_role(Role.APPROVER):
        return "It waits for an approver."
    if viewer.pk in (run.operator_id, run.second_person_id):
        return "You took part in this run; another approver must review it."
    answer = authorised(viewer, run.step.kind, "approve", timezone.localdate())
    return "" if answer.is_authorised else answer.reason
