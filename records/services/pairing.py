"""The two files of one COMTRADE record, uploaded one after the other into one run."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from labsite.ledger.services import record_entry
from records.models import Record
from records.readers.formats import format_of, is_configuration
from records.readers.pairs import first_bytes
from records.services.storing import absolute

_SETTLED = (Record.State.READ, Record.State.SET_ASIDE)


def companion_of(record: Record) -> Record | None:
    """Return the other file of a pair among the records of the run that could not be read alone, or None.

    The contents decide; of several that could be it, one of the same name but for its ending goes first, then the
    newest.
    """
    is_own = is_configuration(_head(record))
    others = [
        other
        for other in record.run.records.exclude(pk=record.pk).exclude(state__in=_SETTLED).order_by("-pk")
        if is_configuration(_head(other)) != is_own and _may_be_of_a_pair(other)
    ]
    if not is_own and not _may_be_of_a_pair(record):
        return None
    named = [other for other in others if _stem(other) == _stem(record)]
    return next(iter(named or others), None)


def keep_pair(*, record: Record, companion: Record, by: Any) -> None:
    """Say of the other file of a pair that it was read with this one; call it inside a transaction."""
    words = f"Read together with “{record.given_name}”."
    told = {"state": [companion.state, Record.State.READ], "words": [companion.words, words]}
    Record.objects.filter(pk=companion.pk).update(state=Record.State.READ, words=words)
    record_entry(action="record.pair", subject=companion, changes=told, by=by)


def _head(record: Record) -> bytes:
    return first_bytes(str(absolute(record.path)))


def _may_be_of_a_pair(record: Record) -> bool:
    """Return whether a file is a configuration, or of no format that is known by its first bytes, as data are."""
    return is_configuration(_head(record)) or format_of(_head(record)).name == "text in columns"


def _stem(record: Record) -> str:
    return PurePath(record.given_name).stem.casefold()
