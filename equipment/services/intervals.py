"""Changes calibration intervals: a person accepts a proposal, and the reasoning shown stays with the decision."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError

from equipment.models import Instrument, IntervalDecision
from equipment.selectors.history import proposals
from equipment.services.rights import require_right
from labsite.ledger.services import change_fields, writing

LONGEST_MONTHS = 120


def decide_interval(
    *, instrument: Instrument, version: int, method: str, months: int, reason: str, by: Any
) -> IntervalDecision:
    """Set the interval of an instrument; calibrations that are entered keep their due date.

    Refuses without a reason, a length out of bounds, a method that is none, and a stale version.
    """
    require_right("decide_interval", by)
    words = reason.strip()
    if not words:
        raise ValidationError({"reason": "Say why; the reason stays in the history."})
    if not 1 <= months <= LONGEST_MONTHS:
        raise ValidationError({"months": f"Between 1 and {LONGEST_MONTHS} months."})
    shown = {proposal.method: proposal for proposal in proposals(instrument)}
    if method != "own" and method not in shown:
        raise ValidationError({"method": "Choose one of the methods, or your own judgement."})
    with writing():
        held = Instrument.objects.select_for_update().get(pk=instrument.pk)
        before = held.interval_months
        changes = {"interval_months": months}
        action = "equipment.decide_interval"
        change_fields(instance=held, version=version, changes=changes, action=action, reason=words, by=by)
        reasoning = [{"method": p.method, "months": p.months, "reason": p.reason} for p in shown.values()]
        return IntervalDecision.objects.create(
            instrument=held,
            method=method,
            from_months=before,
            to_months=months,
            reasoning=reasoning,
            reason=words,
            decided_by=by,
        )
