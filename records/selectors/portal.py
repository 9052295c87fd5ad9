"""What a customer sees: units with a plain status, their certificates and the records of approved runs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Prefetch, Q, QuerySet

from records.models import Certificate, Record, Run
from records.models.verdicts import Verdict
from records.selectors.certificates import CertificateRow, certificate_row
from schedules.models import Order, Plan, Unit


@dataclass(frozen=True)
class UnitLine:
    """One unit with its status in plain words, what is done of its plan, and its certificates."""

    unit: Unit
    words: str
    tone: str
    done: int
    asked: int
    certificates: tuple[CertificateRow, ...]


def customer_orders(viewer: Any) -> QuerySet[Order]:
    """Return the viewer's orders with the number of units and of units that hold a valid certificate."""
    issued = Q(units__certificates__state=Certificate.State.ISSUED)
    return (
        Order.objects.visible_to(viewer)
        .select_related("customer")
        .annotate(
            unit_count=Count("units", distinct=True), certified_count=Count("units", filter=issued, distinct=True)
        )
        .order_by("-pk")
    )


def order_lines(order: Order, viewer: Any) -> list[UnitLine]:
    """Return the units of an order that the viewer may see."""
    return _lines(Unit.objects.visible_to(viewer).filter(order=order), viewer)


def unit_line(unit: Unit, viewer: Any) -> UnitLine:
    """Return one unit that the viewer may see."""
    return _lines(Unit.objects.visible_to(viewer).filter(pk=unit.pk), viewer)[0]


def _lines(units: QuerySet[Unit], viewer: Any) -> list[UnitLine]:
    """Return the units as the portal shows them; the queries do not grow with their number."""
    current = Plan.objects.filter(is_current=True).prefetch_related("steps__arrangements")
    found = list(units.for_list().prefetch_related(Prefetch("plans", queryset=current, to_attr="current_plans")))
    latest = _latest_runs(found, viewer)
    rows = Certificate.objects.visible_to(viewer).for_list().select_related("replaced_by")
    certificates = defaultdict(list)
    for row in rows.filter(unit__in=found):
        certificates[row.unit_id].append(certificate_row(row))
    return [_line(unit, latest, tuple(certificates[unit.pk])) for unit in found]


def _latest_runs(units: Iterable[Unit], viewer: Any) -> dict[tuple[int, int], Run]:
    runs = Run.objects.visible_to(viewer).standing().filter(step__plan__unit__in=units, step__plan__is_current=True)
    rows = runs.prefetch_related("nonconformances").order_by("started_at", "pk")
    return {(run.step_id, run.arrangement_id): run for run in rows}


def _line(unit: Unit, latest: dict[tuple[int, int], Run], certificates: tuple[CertificateRow, ...]) -> UnitLine:
    places = [
        (step.pk, arrangement.pk)
        for plan in unit.current_plans  # type: ignore[attr-defined]
        for step in plan.steps.all()
        for arrangement in step.arrangements.all()
    ]
    runs = [latest[place] for place in places if place in latest]
    done = [run for run in runs if run.verdict == Verdict.CONFORMS or _is_conceded(run)]
    words, tone = _status(unit, len(places), len(done), len(runs) - len(done), certificates)
    return UnitLine(unit, words, tone, len(done), len(places), certificates)


def _is_conceded(run: Run) -> bool:
    return any(row.disposition == "concession" for row in run.nonconformances.all())


def _status(
    unit: Unit, asked: int, done: int, failed: int, certificates: tuple[CertificateRow, ...]
) -> tuple[str, str]:
    if any(row.is_valid for row in certificates):
        return "Certificate issued", "ok"
    if failed:
        return "A result is being discussed; the laboratory will contact you", "warn"
    if asked and done == asked:
        return "All tests done; the certificate is being prepared", "active"
    if done:
        return f"Being tested: {done} of {asked} tests done", "active"
    if not asked:
        return "Tests being planned", ""
    return ("Waiting for its tests", "") if unit.received_on else ("Not received yet", "")


def approved_runs(unit: Unit, viewer: Any) -> QuerySet[Run]:
    """Return the runs of a unit that the viewer may see, with their records, oldest first."""
    rows = Run.objects.visible_to(viewer).for_list()
    rows = rows.prefetch_related(Prefetch("records", queryset=Record.objects.visible_to(viewer)))
    return rows.filter(step__plan__unit=unit).order_by("started_at", "pk")
