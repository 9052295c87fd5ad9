"""The set of records that one run is judged over: which files count, in which order, each with its part."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from records.evaluation.evaluating import evaluate, not_evaluable
from records.evaluation.findings import Evaluation as Judgement
from records.evaluation.joining import RecordsDoNotJoin
from records.evaluation.parts import Part, arranged, part_named, stated_by
from records.evaluation.setups import Setup
from records.evaluation.step import parse_step
from records.evaluation.wording import told_apart
from records.models import Record, Run
from records.models.procedure import with_stated
from records.readers.columns import ColumnMap
from records.readers.kept import read_arrays
from records.readers.recording import Recording
from records.selectors.digests import digest_of
from records.services.storing import absolute


@dataclass(frozen=True)
class Member:
    """One file of a set with the part that it plays; its recording where it was just read."""

    record: Record
    part: Part
    fresh: Recording | None = None

    @property
    def recording(self) -> Recording:
        """Return what was read of the file: just now, or from its arrays and its summary."""
        return _kept(self.record) if self.fresh is None else self.fresh

    def called(self, *, says_usual: bool) -> str:
        """Return what findings call the file, as ``“b.csv” (phase B)``; the usual part is said where it is asked for.

        What another customer's unit lent is not named: findings stand on certificates.
        """
        if self.record.is_of_another_customer:
            return "the trace of a sister unit"
        part = "" if self.part.is_usual and not says_usual else self.part.short
        return f"“{self.record.given_name}”" + (f" ({part})" if part else "")


@dataclass(frozen=True)
class Series:
    """The files that count, in the order in which they are looked at.

    `named` is what findings called each file where the set is looked at again: empty texts in sets of earlier releases.
    """

    kind: str
    members: tuple[Member, ...]
    named: tuple[str, ...] | None = None

    @property
    def key(self) -> tuple[tuple[int, str], ...]:
        """Return what makes two sets the same."""
        return tuple((member.record.pk, member.part.name) for member in self.members)

    @property
    def called(self) -> list[str]:
        """Return what findings call each file; nothing where it is the only one.

        The usual part is said beside another one of its kind, as phase A beside phase B, and not beside a trace to
        compare with.
        """
        if self.named is not None:
            return list(self.named)
        says = any(not one.part.is_usual and one.part.short and not one.part.states for one in self.members)
        return told_apart([member.called(says_usual=says) for member in self.members])

    @property
    def principal(self) -> Record:
        """Return the record that stands for the set: the newest that plays the usual part, else the newest."""
        usual = [member.record for member in self.members if member.part.is_usual]
        return max(usual or [member.record for member in self.members], key=lambda record: record.pk)

    def described(self) -> list[dict[str, str]]:
        """Return name, part, digest and what findings call it of each file, for the document that signatures bind."""
        return [
            {"name": member.record.given_name, "part": member.part.name, "sha256": member.record.sha256}
            | ({"called": called} if called else {})
            for member, called in zip(self.members, self.called, strict=True)
        ]

    def judged(self, document: Any, setup: Setup) -> Judgement:
        """Return the judgement over the whole set; files that do not fit together make no valid test.

        Raises BadStep where the step cannot be judged as it is written.
        """
        stated = stated_by([member.part for member in self.members], len(self.members))
        step = parse_step(with_stated(document, stated))
        pairs = zip(self.members, self.called, strict=True)
        recordings = [replace(member.recording, name=called) for member, called in pairs]
        try:
            return evaluate(step, recordings, setup)
        except RecordsDoNotJoin as fault:
            words = f"{fault} Say which part each file plays, or set the wrong one aside."
            return not_evaluable(step, recordings, words)


def series_with(record: Record, recording: Recording) -> Series:
    """Return the set of a run once a record of it has been read: what was read before beside it, by the table of parts.

    Inside a transaction nothing can be added to the run meanwhile, so that no record is overlooked when two are judged
    at once. Where a newer file plays the same part the set is without this record.
    """
    others = [row for row in readable(record.run) if row.pk != record.pk]
    rows = sorted([*others, record], key=lambda row: row.pk)
    kind = record.run.step.kind
    return Series(
        kind,
        tuple(
            Member(row, part, recording if row.pk == record.pk else None)
            for part, row in arranged(kind, [(row.part, row) for row in rows])
        ),
    )


def series_of(run: Run) -> Series:
    """Return the set of a run as it stands now, of what has been read; it may be empty."""
    kind = run.step.kind
    found = arranged(kind, [(row.part, row) for row in readable(run)])
    return Series(kind, tuple(Member(row, part) for part, row in found))


def readable(run: Run) -> list[Record]:
    """Return the records of a run that were read and hold arrays, oldest first; the other half of a pair holds none."""
    rows = run.records.filter(state=Record.State.READ).order_by("pk")
    return [row for row in rows if row.summary.get("arrays")]


def arrays_path(record: Record, columns_used: Mapping[str, Any], companion: str = "") -> str:
    """Return where the arrays of a record lie that was read with a map of its columns, and the other file of its pair.

    Parameters
    ----------
    record : Record
        With the part that it plays: another part of the same bytes has other channels.
    columns_used : mapping
        The map; empty where its heads told all.
    companion : str
        SHA-256 of the other file; empty without.
    """
    how: dict[str, Any] = {**columns_used, "companion": companion} if companion else dict(columns_used)
    part = part_named(record.run.step.kind, record.part)
    if part is not None and part.channels:
        how["part"] = part.name
    mark = digest_of(how)[:8] if how else "plain"
    return f"{record.path}-{mark}.parquet"


def kept_recording(record: Record) -> Recording | None:
    """Return what was read of a record before, where it would be read the same way now and its arrays are there."""
    summary = record.summary
    used = summary.get("columns_used") or {}
    told = ColumnMap.from_dict(record.column_map).as_dict() if record.column_map else used
    companion = summary.get("companion") or {}
    as_now = arrays_path(record, told, companion.get("sha256", ""))
    if not summary.get("arrays") or summary["arrays"] != as_now or not absolute(as_now).exists():
        return None
    return _kept(record)


def _kept(record: Record) -> Recording:
    """Return what was read of a record, from its arrays and its summary."""
    summary = record.summary
    channels = read_arrays(absolute(summary["arrays"]), summary["channels"])
    return Recording(
        channels.pop("time_s", np.empty(0)),
        channels,
        summary["metadata"],
        tuple(summary["oddities"]),
        sha256=summary.get("sha256") or record.sha256,
    )
