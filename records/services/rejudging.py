"""Asking for an evaluation: of a file that was stored, and once more where the set or what was stated has changed."""

from __future__ import annotations

from typing import Any

from labsite.jobs.services import enqueue
from labsite.ledger.services import record_entry
from records.models import Record, Run
from records.services import lifecycle
from records.services.series import series_of

JOB = "records.evaluate_record"


def ask_for_evaluation(record: Record, run: Run, by: Any) -> None:
    """Put the reading of a record on the table; the run's version tells one asking from the next."""
    enqueue(name=JOB, args={"record_id": record.pk}, key=f"{JOB}:{record.pk}:{run.version}", by=by)


def read_again(record: Record, run: Run, by: Any) -> None:
    """Have a record taken up once more, and its run judged; call it with the run locked, inside a transaction.

    The file itself is read only where it would be read otherwise than before, or its arrays are not there.
    """
    Record.objects.filter(pk=record.pk).update(state=Record.State.STORED, words="")
    record_entry(action="record.read_again", subject=record, changes={"state": [record.state, "stored"]}, by=by)
    lifecycle.move(run, "judge_again", changes={"verdict": ""} if run.verdict else {}, by=by)
    ask_for_evaluation(record, run, by)


def judge_again(run: Run, words: str, by: Any) -> None:
    """Have the set of a run judged as it is now, or let the run wait for a record where nothing is left of it.

    A new evaluation is made and the old one kept. Call it with the run locked, inside a transaction.
    """
    is_waiting = waiting(run)
    members = series_of(run).members
    if members and not is_waiting:
        read_again(members[-1].record, run, by)
        return
    if run.verdict or run.state == Run.State.JUDGED:
        lifecycle.move(run, "judge_again", changes={"verdict": ""}, reason=words, by=by)
    if not is_waiting and lifecycle.is_allowed(run.state, "refuse_record"):
        lifecycle.move(run, "refuse_record", reason=words, by=by)


def waiting(run: Run) -> bool:
    """Say whether a file of a run is still to be read, or waits for its columns to be told."""
    return run.records.filter(state__in=(Record.State.STORED, Record.State.NEEDS_MAPPING)).exists()
