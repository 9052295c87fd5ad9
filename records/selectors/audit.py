"""What an auditor asks of instruments: gaps in cover, overrides, and calibrations that ended during an order."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, F, Max, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import TruncDate

from equipment.models import Calibration, Instrument
from equipment.selectors.accuracy import undecided_corrections
from records.models import Run, RunInstrument
from records.selectors.uses import overridden_uses


@dataclass(frozen=True)
class Gap:
    """Days on which no calibration covered an instrument, and how many runs used it on them."""

    instrument: Instrument
    first: date
    last: date
    after: str
    runs: int

    @property
    def days(self) -> int:
        """Return the length [d], both ends counted."""
        return (self.last - self.first).days + 1


@dataclass(frozen=True)
class Audit:
    """Everything the page shows of a span of days."""

    since: date
    until: date
    gaps: tuple[Gap, ...]
    overrides: QuerySet[RunInstrument]
    ended: QuerySet[RunInstrument]
    undecided: QuerySet[Calibration]


def audit(viewer: Any, since: date, until: date) -> Audit:
    """Return gaps in cover, overrides, and runs of orders during which a calibration ended, within some days.

    What stands undecided about corrections is of today.
    """
    overrides = overridden_uses(viewer).filter(run__started_at__date__range=(since, until))
    return Audit(
        since,
        until,
        tuple(gaps_in_cover(viewer, since, until)),
        overrides,
        ended_during(viewer, since, until),
        undecided_corrections(viewer),
    )


def gaps_in_cover(viewer: Any, since: date, until: date) -> list[Gap]:
    """Return the days without cover between two calibrations, or from the last one on, with the runs on them.

    What was retired meanwhile has no gap after its retirement. Three queries, whatever the number of instruments.
    """
    instruments = Instrument.objects.visible_to(viewer).filter(is_indicator=False).for_list()
    spans = [span for item in instruments for span in _uncovered(item, since, until)]
    used = _days_of_use({item.pk for item, *_ in spans}, since, until)
    return [
        Gap(item, first, last, after, sum(count for day, count in used.get(item.pk, ()) if first <= day <= last))
        for item, first, last, after in spans
    ]


def _uncovered(item: Instrument, since: date, until: date) -> list[tuple[Instrument, date, date, str]]:
    periods = sorted(item.calibrations.all(), key=_counting_last)
    retired = next((row.on for row in item.state_changes.all() if row.state == Instrument.State.RETIRED), None)
    last_day = min(until, retired - timedelta(days=1)) if retired else until
    found = []
    for place, row in enumerate(periods):
        is_good = row.verdict == Calibration.Verdict.WITHIN
        first = row.due_on + timedelta(days=1) if is_good else row.calibrated_on
        following = periods[place + 1].calibrated_on if place + 1 < len(periods) else last_day + timedelta(days=1)
        first, last = max(first, since), min(following - timedelta(days=1), last_day)
        if first <= last:
            found.append((item, first, last, row.certificate_number))
    return found


def _counting_last(row: Calibration) -> tuple[date, bool, int]:
    """Return the place of a calibration: of several of one day the one that counts comes last."""
    return row.calibrated_on, row.verdict == Calibration.Verdict.OUTSIDE, -row.due_on.toordinal()


def _days_of_use(instruments: set[int], since: date, until: date) -> dict[int, list[tuple[date, int]]]:
    rows = RunInstrument.objects.filter(
        instrument__in=instruments, run__started_at__date__range=(since, until)
    ).exclude(run__state=Run.State.ABANDONED)
    counted = rows.annotate(day=TruncDate("run__started_at")).values_list("instrument", "day").annotate(Count("pk"))
    found: dict[int, list[tuple[date, int]]] = {}
    for instrument, day, count in counted.order_by():
        found.setdefault(instrument, []).append((day, count))
    return found


def ended_during(viewer: Any, since: date, until: date) -> QuerySet[RunInstrument]:
    """Return the uses whose calibration was good on the day of the run but ended before the last run of the order."""
    last_run = (
        Run.objects.filter(step__plan__unit__order=OuterRef("run__step__plan__unit__order"))
        .exclude(state=Run.State.ABANDONED)
        .order_by()
        .values("step__plan__unit__order")
        .annotate(last=Max("started_at"))
        .values("last")
    )
    rows = RunInstrument.objects.filter(run__in=Run.objects.visible_to(viewer), calibration__isnull=False)
    rows = rows.filter(run__started_at__date__range=(since, until)).annotate(order_ended=TruncDate(Subquery(last_run)))
    ended = Q(calibration__due_on__lt=F("order_ended"), calibration__due_on__gte=TruncDate("run__started_at"))
    return (
        rows.filter(ended)
        .select_related("run__step__plan__unit__order__customer", "instrument", "calibration")
        .order_by("run__started_at", "pk")
    )
