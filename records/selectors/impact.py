"""What a wrong instrument touched: the backward trace, and what pages and the document show of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Count, Q, QuerySet
from django.utils import timezone

from equipment.models import Calibration, Instrument, SystemComponent
from records.models import AffectedFinding, AffectedRun, Certificate, CustomerLetter, NonconformingWork, RunInstrument
from records.models.impact import Effect

WORST_FIRST: Any = (Effect.FLIPS, Effect.DOUBTFUL, Effect.STANDS, Effect.UNTOUCHED)
TONES: Any = {Effect.FLIPS: "bad", Effect.DOUBTFUL: "warn", Effect.STANDS: "ok", Effect.UNTOUCHED: "void"}


@dataclass(frozen=True)
class Affected:
    """One affected run as pages show it: the worse of its two effects, and the certificates that rest on it."""

    row: AffectedRun
    effect: str
    tone: str
    words: str
    certificates: tuple[Certificate, ...]


@dataclass(frozen=True)
class EffectCount:
    """How many runs an effect has under one assumption, or under the worse of both."""

    effect: str
    words: str
    tone: str
    constant: int
    linear: int


def last_good(calibration: Calibration) -> Calibration | None:
    """Return the calibration before this one that left the instrument within what is required, or None."""
    earlier = Calibration.objects.filter(
        instrument=calibration.instrument_id,
        calibrated_on__lt=calibration.calibrated_on,
        verdict=Calibration.Verdict.WITHIN,
    )
    return earlier.order_by("-calibrated_on", "-pk").first()


def backward_trace(instrument: Instrument, since: date | None, until: date) -> QuerySet[RunInstrument]:
    """Return every use of an instrument, directly or as part of a measuring system, in runs of those days: one query.

    Both days count: on the day of the last good calibration nobody knows what came first.
    """
    days = Q(run__started_at__lt=_midnight(until + timedelta(days=1)))
    if since is not None:
        days &= Q(run__started_at__gte=_midnight(since))
    uses = RunInstrument.objects.filter(days).exclude(run__state="abandoned").select_related("run", "system").order_by()
    parts = SystemComponent.objects.filter(instrument=instrument).values("system")
    # Two searches by index and not one condition with "or", for which the database would read every use there is.
    return uses.filter(instrument=instrument).union(uses.filter(system__in=parts)).order_by("run_id", "id")


def _midnight(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time()))


def worse(row: AffectedRun) -> str:
    """Return the worse of the effects under the two assumptions; empty while it is not recomputed."""
    known = [effect for effect in (row.effect_constant, row.effect_linear) if effect]
    return min(known, key=lambda effect: WORST_FIRST.index(Effect(effect)), default="")


def affected_runs(work: NonconformingWork, effect: str = "") -> QuerySet[AffectedRun]:
    """Return the affected runs, those whose verdict changes first; narrowed to one effect under either assumption."""
    rows = work.runs.select_related("run__step__plan__unit__order__customer", "run__arrangement", "decided_by")
    if effect:
        rows = rows.filter(Q(effect_constant=effect) | Q(effect_linear=effect))
    return rows.order_by("run__started_at", "run_id")


def as_shown(rows: Sequence[AffectedRun]) -> list[Affected]:
    """Return the runs as pages show them; one query for all their certificates."""
    units = {row.run.step.plan.unit_id for row in rows}
    certificates: dict[int, list[Certificate]] = {}
    for certificate in Certificate.objects.filter(unit__in=units).exclude(state="withdrawn").order_by("pk"):
        certificates.setdefault(certificate.unit_id, []).append(certificate)
    return [_shown(row, tuple(certificates.get(row.run.step.plan.unit_id, ()))) for row in rows]


def _shown(row: AffectedRun, certificates: tuple[Certificate, ...]) -> Affected:
    effect = worse(row)
    if not effect:
        return Affected(row, "", "active", "Being recomputed", certificates)
    return Affected(row, effect, TONES[Effect(effect)], str(Effect(effect).label), certificates)


def effect_counts(work: NonconformingWork) -> list[EffectCount]:
    """Return how many runs each effect has under both assumptions: two queries."""
    constant = _counts(work, "effect_constant")
    linear = _counts(work, "effect_linear")
    return [
        EffectCount(effect.value, str(effect.label), TONES[effect], constant.get(effect, 0), linear.get(effect, 0))
        for effect in WORST_FIRST
    ]


def _counts(work: NonconformingWork, field: str) -> Mapping[str, int]:
    rows = work.runs.order_by().values_list(field).annotate(Count("pk"))
    return {effect: count for effect, count in rows if effect}


def findings_of(affected: AffectedRun) -> QuerySet[AffectedFinding]:
    """Return the recomputed findings of one run with the findings themselves."""
    return affected.findings.select_related("finding").order_by("finding__position")


def letters_of(work: NonconformingWork) -> QuerySet[CustomerLetter]:
    """Return the letters of a piece of work."""
    return work.letters.select_related("customer", "sent_by")
