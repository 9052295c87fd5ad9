"""The charge scale factor of a run beside the last one that the same measuring system showed."""

from __future__ import annotations

from records.evaluation.comparing import change_since
from records.models import Run, SetupCheck
from records.selectors.gates import latest_checks


def drift_words(run: Run) -> str:
    """Return how the scale factor drifted since the last calibration with the same charge system; empty if unknown.

    It is information for the people at the bay: a circuit differs from unit to unit, so a drift is no fault by itself.
    """
    check = latest_checks(run).get(SetupCheck.Kind.CHARGE_CALIBRATION)
    systems = [use.system_id for use in run.instruments.all() if use.system and use.system.quantity == "charge"]
    if check is None or not systems or "scale_factor" not in check.values:
        return ""
    before = (
        SetupCheck.objects.filter(
            kind=SetupCheck.Kind.CHARGE_CALIBRATION, run__instruments__system__in=systems, pk__lt=check.pk
        )
        .exclude(run=run)
        .select_related("run")
        .last()
    )
    if before is None or not before.values.get("scale_factor"):
        return ""
    now, last = check.values["scale_factor"], before.values["scale_factor"]
    change = change_since(now, last)
    return (
        f"The scale factor is {now:.4g}. In run {before.run.number}, the last with this measuring system, it was "
        f"{last:.4g}: a drift of {change.relative_pct:+.2g} %."
    )
