"""What earlier runs of a unit lend to a later one: the capacitance before the tests, the cold resistance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Exists, F, Max, OuterRef

from records.models import Finding, Run
from records.models.procedure import procedure_of, stated_values

LENDER = "lent_by_run"
"""Among the stated values of a run: the number of the run that a person chose to lend."""


@dataclass(frozen=True)
class _Lent:
    """A condition of the set-up that is a finding of an earlier run: its name, the earlier kind, the quantity there.

    `temperature` names a further condition, which takes the reference temperature of the earlier step. `is_chosen` says
    that the arrangements of the two kinds need not be the same, so that a person chooses where the plan has several.
    """

    condition: str
    kind: str
    quantity: str
    words: str
    unit: str
    temperature: str = ""
    is_chosen: bool = False


_LENT: Mapping[str, _Lent] = {
    "capacitance": _Lent(
        "capacitance_before_uf", "capacitance", "capacitance_uf", "Capacitance before the tests", "µF"
    ),
    "temperature_rise": _Lent(
        "cold_resistance_ohm",
        "winding_resistance",
        "resistance_at_reference_ohm",
        "Cold resistance",
        "Ω",
        "cold_temperature_c",
        is_chosen=True,
    ),
}


@dataclass(frozen=True)
class Lender:
    """A standing run that can lend: its number, its arrangement, the value [unit], and the temperature of it [°C].

    `is_only` says that the plan measures this quantity in one arrangement.
    """

    run: str
    arrangement: str
    value: float
    temperature_c: float | None
    is_only: bool
    unit: str

    @property
    def words(self) -> str:
        """Return the value and where it comes from, as people choose and read it."""
        at = "" if self.temperature_c is None else f" at {self.temperature_c:g} °C"
        return f"{self.value:.6g} {self.unit}{at}, of run {self.run}, {self.arrangement}"


def lenders_of(run: Run) -> list[Lender]:
    """Return the standing runs of the same unit that can lend to a run, the newest first; none for most kinds.

    They are of the step that the plan names for the comparison; where it names none, of any step before this one. A run
    over several windings tells the one nearest its limit and not which, so it lends nothing.
    """
    lent = _LENT.get(run.step.kind)
    if lent is None:
        return []
    of_several = Finding.objects.filter(evaluation=OuterRef("evaluation"), quantity="resistance_unbalance_pct")
    rows = Finding.objects.select_related("evaluation__run__step", "evaluation__run__arrangement").filter(
        ~Exists(of_several),
        quantity=lent.quantity,
        value__isnull=False,
        evaluation__run__in=Run.objects.standing(),
        evaluation__run__step__kind=lent.kind,
        evaluation__run__step__position__lt=run.step.position,
        evaluation__run__step__plan__unit=run.step.plan.unit_id,
        evaluation__run__started_at__lt=run.started_at,
    )
    earlier = _named_by_plan(run)
    if earlier is not None:
        rows = rows.filter(
            evaluation__run__step__document__procedure__name=earlier["procedure"],
            evaluation__run__step__title=earlier["title"],
        )
    if not lent.is_chosen:
        rows = rows.filter(evaluation__run__arrangement__name=run.arrangement.name)
    rows = rows.annotate(
        arrangements=Count("evaluation__run__step__arrangements", distinct=True),
        last=Max("evaluation__run__evaluations"),
    ).filter(evaluation=F("last"))
    found = [_lender(row, lent) for row in rows.order_by("evaluation__run__started_at", "pk")]
    newest = {one.run: one for one in found if one is not None}
    return list(reversed(newest.values()))


def _lender(row: Any, lent: _Lent) -> Lender | None:
    """Return what a finding lends; a resistance whose temperature nobody knows lends nothing."""
    of, temperature = row.evaluation.run, None
    if lent.temperature:
        stated = {**row.evaluation.document.get("stated", {}), **procedure_of(of.step.document)}
        temperature = stated.get("reference_temperature_c")
        if temperature is None:
            return None
        temperature = float(temperature)
    return Lender(of.number, of.arrangement.name, row.value, temperature, row.arrangements == 1, lent.unit)


def lender_of(run: Run) -> Lender | None:
    """Return the run that lends to this one, or None.

    A person's choice goes first; then the newest run of an arrangement of the same name; then, where the plan measures
    the quantity in one arrangement only, the newest. Of several windings nobody but a person can say which was heated.
    What people state themselves is lent by nobody: a value and its temperature belong together.
    """
    lent = _LENT.get(run.step.kind)
    stated = stated_values(run)
    if lent is None or stated.get(lent.condition) is not None or stated.get(lent.temperature) is not None:
        return None
    known = lenders_of(run)
    if stated.get(LENDER):
        return next((one for one in known if one.run == stated[LENDER]), None)
    alike = [one for one in known if one.arrangement == run.arrangement.name]
    return next(iter(alike or [one for one in known if one.is_only]), None)


def lent_by_earlier(run: Run) -> dict[str, float]:
    """Return the conditions that an earlier run of the same unit lends, by name with unit; see `lender_of`."""
    lent, lender = _LENT.get(run.step.kind), lender_of(run)
    if lent is None or lender is None:
        return {}
    found = {lent.condition: lender.value}
    return found if lender.temperature_c is None else found | {lent.temperature: lender.temperature_c}


def lent_row(run: Run) -> tuple[str, str] | None:
    """Return what is lent to a run, as (what, value and lender in words), or None where nothing is."""
    lent, lender = _LENT.get(run.step.kind), lender_of(run)
    return None if lent is None or lender is None else (lent.words, f"{lender.words}, as measured there")


def choosable_lenders(run: Run) -> list[Lender]:
    """Return the runs of which a person chooses one that lends; none where the kinds share their arrangements."""
    lent = _LENT.get(run.step.kind)
    return lenders_of(run) if lent is not None and lent.is_chosen else []


def lacking_before(run: Run) -> str:
    """Return in words which earlier step has no run that stands though the plan compares this one with it."""
    earlier = _named_by_plan(run)
    if earlier is None or lenders_of(run):
        return ""
    return (
        f"No run of “{earlier['title']}” (step {earlier['position']}, {run.arrangement.name}) stands yet; what is "
        "measured here is compared with it. Have it made and approved first."
    )


def _named_by_plan(run: Run) -> Mapping[str, Any] | None:
    found: Mapping[str, Any] | None = procedure_of(run.step.document).get("compared_with")
    return found
