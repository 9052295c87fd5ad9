"""Which run a new one repeats, and whether it may."""

from __future__ import annotations

from records.models import Nonconformance, Run
from records.models.verdicts import Verdict
from records.services.refusals import Refused
from schedules.models import Arrangement

_OVER = (Run.State.APPROVED, Run.State.ABANDONED)


def what_it_repeats(arrangement: Arrangement, repeats: Run | None, reason: str) -> tuple[Run | None, str]:
    """Return the run that a new one of this arrangement repeats, and the reason in words; refuse where none may start.

    A run that stands and conforms is not repeated. One that does not conform is repeated only where its nonconformance
    was decided as repair and retest. One that is no valid test, is inconclusive or was abandoned is repeated freely.
    """
    if arrangement.carried_from_id is not None:
        raise Refused("A review let the runs of the revision before stand here. There is nothing to repeat.")
    last = Run.objects.filter(arrangement=arrangement).order_by("-pk").first()
    if last is None:
        if repeats is not None:
            raise Refused(f"Run {repeats.number} is of another arrangement; this one has no run to repeat.")
        return None, ""
    if repeats is not None and repeats.pk != last.pk:
        raise Refused(f"The last run of this arrangement is {last.number}; it is that one which a new run repeats.")
    if last.state not in _OVER:
        raise Refused(f"Run {last.number} of this arrangement is still open. Finish it, or abandon it with a reason.")
    usual = _reason(last)
    return last, reason.strip() or usual


def _reason(last: Run) -> str:
    if last.state == Run.State.ABANDONED:
        return f"Run {last.number} was abandoned: {last.abandon_reason}"
    if last.verdict == Verdict.CONFORMS:
        raise Refused(f"Run {last.number} of this arrangement stands: the unit conforms. There is nothing to repeat.")
    if last.verdict == Verdict.DOES_NOT_CONFORM:
        return _retest_reason(last)
    return f"Run {last.number} says nothing about the unit ({last.get_verdict_display().lower()})."


def _retest_reason(last: Run) -> str:
    opened = Nonconformance.objects.filter(run=last).first()
    if opened is None or opened.disposition != Nonconformance.Disposition.RETEST:
        raise Refused(
            f"Run {last.number} found that the unit does not conform. Decide its nonconformance as repair and retest "
            "before another run begins."
        )
    return f"Retest after the nonconformance of run {last.number}: {opened.disposition_reason}"
