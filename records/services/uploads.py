"""Taking in a record, and telling its columns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from equipment.models import Instrument
from labsite.ledger.services import record_entry, writing
from records.models import Record, Run
from records.readers.columns import ColumnMap
from records.readers.refusals import BadColumnMap
from records.services import lifecycle
from records.services.refusals import Refused, ValueRefused
from records.services.rejudging import ask_for_evaluation, read_again
from records.services.sets import known_part
from records.services.storing import StoredFile, keep_stream


@dataclass(frozen=True)
class Upload:
    """What came of an upload: the record, whether it is new, and that in words."""

    record: Record
    is_new: bool
    words: str


def store_record(*, run: Run, stream: Any, given_name: str, part: str = "", by: Any) -> Upload:
    """Store a file and ask for its evaluation; the same bytes twice are recognised and stored once.

    `part` is what it is beside the other files of the run, empty for the usual.

    Order: permission and state, bytes to disk, then row, ledger entry and job in one transaction.
    """
    now = Run.objects.select_related("operator", "second_person").get(pk=run.pk)
    lifecycle.require_person_of(now, by)
    lifecycle.require(now, "store_record")
    name, played = _plain_name(given_name), known_part(now, part)
    file = keep_stream(stream, name)
    with writing():
        held = lifecycle.locked(run)
        known = held.records.filter(sha256=file.sha256).first()
        if known is not None:
            return Upload(known, False, _known_words(known))
        lifecycle.require(held, "store_record")
        record = Record.objects.create(
            run=held,
            given_name=name,
            part=played.name,
            path=file.path,
            sha256=file.sha256,
            size_bytes=file.size_bytes,
            uploaded_by=by,
        )
        told = {"verdict": ""} if held.verdict else {}
        lifecycle.move(held, "store_record", changes=told, by=by)
        _tell_ledger(held, file, record, by)
        ask_for_evaluation(record, held, by)
        return Upload(record, True, _stored_words(record))


def tell_columns(
    *, record: Record, column_map: Mapping[str, Any], remember_for: Instrument | None = None, by: Any
) -> Record:
    """Say which column is which, remember it for an instrument where asked, and evaluate again."""
    try:
        content = ColumnMap.from_dict(column_map).as_dict()
    except BadColumnMap as fault:
        raise ValueRefused(f"{fault.message} Nothing was changed.") from fault
    with writing():
        held = lifecycle.locked(record.run)
        lifecycle.require(held, "tell_columns")
        lifecycle.require_person_of(held, by)
        row = Record.objects.select_for_update().get(pk=record.pk)
        if row.state not in (Record.State.NEEDS_MAPPING, Record.State.READ):
            raise Refused(f"The columns of “{row.given_name}” need not be told ({row.get_state_display().lower()}).")
        old, row.column_map = row.column_map, content
        row.save(update_fields=["column_map"])
        record_entry(action="record.tell_columns", subject=row, changes={"column_map": [old, content]}, by=by)
        if remember_for is not None:
            _remember(remember_for, held, content, by)
        read_again(row, held, by)
        return row


def _remember(instrument: Instrument, run: Run, content: Mapping[str, Any], by: Any) -> None:
    if not run.instruments.filter(instrument=instrument).exists():
        raise Refused(f"{instrument} is not used in run {run.number}; the columns cannot be remembered for it.")
    row = Instrument.objects.select_for_update().get(pk=instrument.pk)
    told = {"column_map": [row.column_map, dict(content)]}
    row.column_map = dict(content)
    row.version += 1
    row.save(update_fields=["column_map", "version"])
    record_entry(action="instrument.remember_columns", subject=row, changes=told, by=by)


def _plain_name(given: str) -> str:
    """Return the given name without folders and unprintable signs; it is only ever shown, never a path."""
    name = given.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(sign for sign in name if sign.isprintable())[:255] or "record"


def _tell_ledger(run: Run, file: StoredFile, record: Record, by: Any) -> None:
    told: dict[str, Any] = {"record": [None, record.given_name], "part": [None, record.part]}
    told |= {"sha256": [None, file.sha256], "size_bytes": [None, file.size_bytes]}
    record_entry(action="record.store", subject=run, changes=told, by=by)


def _known_words(record: Record) -> str:
    return (
        f"These bytes are already stored in run {record.run.number} as “{record.given_name}”, "
        f"uploaded {record.uploaded_at:%d %b %Y %H:%M} UTC by {record.uploaded_by}. Nothing was stored twice."
    )


def _stored_words(record: Record) -> str:
    words = f"“{record.given_name}” is stored, {record.size_bytes} bytes, SHA-256 {record.sha256[:12]}…"
    other = Record.objects.filter(sha256=record.sha256).exclude(run=record.run).select_related("run").first()
    if other is not None:
        words += f" The same bytes are a record of run {other.run.number}: check that this is the right file."
    return words
