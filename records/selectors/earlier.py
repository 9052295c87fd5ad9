"""What earlier runs of a unit lend to a later one: the capacitance before the tests, the cold resistance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from records.models import Finding, Run
from records.models.procedure import procedure_of


@dataclass(frozen=True)
class _Lent:
    """A condition of the set-up that is a finding of an earlier run: its name, the earlier kind, the quantity there.

    `temperature` names a further condition, which takes the reference temperature of the earlier step.
    """

    condition: str
    kind: str
    quantity: str
    temperature: str = ""


_LENT: Mapping[str, _Lent] = {
    "capacitance": _Lent("capacitance_before_uf", "capacitance", "capacitance_uf"),
    "temperature_rise": _Lent(
        "cold_resistance_ohm", "winding_resistance", "resistance_at_reference_ohm", "cold_temperature_c"
    ),
}


def lent_by_earlier(run: Run) -> dict[str, float]:
    """Return the conditions that a standing run of the same unit and arrangement lends, by name with unit.

    It is a run of the step that the plan names for the comparison; where it names none, of any step before this one.
    Of several the newest counts; where there is none nothing is lent.
    """
    lent = _LENT.get(run.step.kind)
    if lent is None:
        return {}
    rows = Finding.objects.select_related("evaluation__run__step").filter(
        quantity=lent.quantity,
        value__isnull=False,
        evaluation__run__in=Run.objects.standing(),
        evaluation__run__arrangement__name=run.arrangement.name,
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
    row = rows.order_by("evaluation__run__started_at", "evaluation__pk").last()
    if row is None or row.value is None:
        return {}
    found = {lent.condition: row.value}
    if lent.temperature:
        found[lent.temperature] = float(procedure_of(row.evaluation.run.step.document)["reference_temperature_c"])
    return found


def lacking_before(run: Run) -> str:
    """Return in words which earlier step has no run that stands though the plan compares this one with it."""
    earlier = _named_by_plan(run)
    if earlier is None or lent_by_earlier(run):
        return ""
    return (
        f"No run of “{earlier['title']}” (step {earlier['position']}, {run.arrangement.name}) stands yet; what is "
        "measured here is compared with it. Have it made and approved first."
    )


def _named_by_plan(run: Run) -> Mapping[str, Any] | None:
    found: Mapping[str, Any] | None = procedure_of(run.step.document).get("compared_with")
    return found
