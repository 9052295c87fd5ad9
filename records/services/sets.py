"""Which files a run is judged over: the part that each plays, those set aside, those lent by another run."""

from __future__ import annotations

from typing import Any

from labsite.ledger.services import record_entry, writing
from records.evaluation.parts import Part, part_named
from records.models import Record, Run
from records.services import lifecycle
from records.services.refusals import Refused, ValueRefused
from records.services.rejudging import judge_again, read_again
from records.services.series import readable


def known_part(run: Run, name: str) -> Part:
    """Return a part that the kind of the run knows; raise ValueRefused else."""
    part = part_named(run.step.kind, name)
    if part is None:
        raise ValueRefused(f"“{name}” is no part that a file of this test can play. Nothing was changed.")
    return part


def choose_part(*, record: Record, part: str, by: Any) -> Record:
    """Say which part a file plays; the run is judged again, and the file read where that part needs other columns."""
    with writing():
        run, row = _held(record, by)
        chosen = known_part(run, part)
        if row.state == Record.State.SET_ASIDE:
            raise Refused(f"“{row.given_name}” is set aside. Take it back first.")
        if chosen == part_named(run.step.kind, row.part):
            return row
        told = {"part": [row.part, chosen.name]}
        row.part = chosen.name
        row.save(update_fields=["part"])
        record_entry(action="record.choose_part", subject=row, changes=told, by=by)
        read_again(row, run, by)
        return row


def set_aside_record(*, record: Record, reason: str, by: Any) -> Record:
    """Take a file out of the set, with a reason: nothing is deleted, and the run is judged over the rest."""
    words = lifecycle.required_text(reason, "Say why this record is set aside; nothing was changed.")
    with writing():
        run, row = _held(record, by)
        if row.state == Record.State.SET_ASIDE:
            raise Refused(f"“{row.given_name}” is set aside already. Nothing was changed.")
        was_counted = row.state == Record.State.READ
        told = {"state": [row.state, Record.State.SET_ASIDE]}
        row.state, row.words = Record.State.SET_ASIDE, f"Set aside by {by}: {words}"
        row.save(update_fields=["state", "words"])
        record_entry(action="record.set_aside", subject=row, changes=told, reason=words, by=by)
        if was_counted or run.state == Run.State.RECORDED:
            judge_again(run, words, by)
        return row


def take_back_record(*, record: Record, by: Any) -> Record:
    """Put a file that was set aside back into the set; the run is judged over all that count."""
    with writing():
        run, row = _held(record, by)
        if row.state != Record.State.SET_ASIDE:
            raise Refused(f"“{row.given_name}” is not set aside. Nothing was changed.")
        record_entry(action="record.take_back", subject=row, changes={"words": [row.words, ""]}, by=by)
        read_again(row, run, by)
        return row


def lend_record(*, run: Run, part: str, lender: Run, by: Any) -> Record:
    """Let the file that another run was judged over play a part here, as the trace that a sweep is compared with.

    The bytes are the same and stored once; this run has a record of its own that names where they come from.
    """
    with writing():
        held = lifecycle.locked(run)
        lifecycle.require(held, "choose_records")
        lifecycle.require_person_of(held, by)
        chosen = known_part(held, part)
        if not chosen.is_lendable:
            raise Refused(f"“{chosen.words}” is a file of this run itself. Upload it.")
        source = _lent(held, lender)
        row, is_new = Record.objects.get_or_create(
            run=held,
            sha256=source.sha256,
            defaults={
                "given_name": source.given_name,
                "part": chosen.name,
                "lent_by": lender,
                "path": source.path,
                "size_bytes": source.size_bytes,
                "column_map": source.summary.get("columns_used") or None,
                "uploaded_by": by,
            },
        )
        if not is_new:
            raise Refused(f"These bytes are in this run already, as “{row.given_name}”. Say there which part it plays.")
        told = {"part": [None, chosen.name], "sha256": [None, row.sha256], "from_run": [None, lender.number]}
        record_entry(action="record.lend", subject=row, changes=told, by=by)
        read_again(row, held, by)
        return row


def _lent(run: Run, lender: Run) -> Record:
    """Return the file of another run that may be lent: of the same kind, of this unit or one of its design."""
    one, other = run.step.plan.unit, lender.step.plan.unit
    is_sister = one.pk == other.pk or (bool(one.design) and one.design == other.design)
    if lender.pk == run.pk or lender.step.kind != run.step.kind or not is_sister:
        raise Refused(f"Run {lender.number} is no run of this kind, of this unit or of a sister. Nothing was changed.")
    usual = [row for row in readable(lender) if (part := part_named(run.step.kind, row.part)) and part.is_usual]
    if not usual:
        raise Refused(f"Run {lender.number} has no file that was read. Nothing was changed.")
    return usual[-1]


def _held(record: Record, by: Any) -> tuple[Run, Record]:
    """Return run and record as they are now, held; refuse where the set may not be changed, or by whom."""
    run = lifecycle.locked(record.run)
    lifecycle.require(run, "choose_records")
    lifecycle.require_person_of(run, by)
    return run, Record.objects.select_for_update().get(pk=record.pk)
