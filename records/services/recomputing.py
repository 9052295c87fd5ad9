"""Software validation (ISO/IEC 17025, 7.11): every stored finding computed again and compared; nothing is changed."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.db.models import QuerySet

from labsite.ui.middleware import reading_only
from records.evaluation.findings import EVALUATION_VERSION
from records.evaluation.parts import part_named, read_part, usual_part
from records.evaluation.setups import BadSetup, parse_setup
from records.evaluation.step import BadStep
from records.models import Evaluation, Finding, Record, Run
from records.models.procedure import document_of
from records.readers.columns import ColumnMap
from records.readers.isolation import read_in_child
from records.readers.recording import Limits, Recording
from records.readers.refusals import RecordRefused
from records.selectors.digests import digest_of, setup_used
from records.services.series import Member, Series
from records.services.storing import absolute

# Two machines may differ in the last digits of a double; what is compared is far coarser than any uncertainty.
_RELATIVE = 1e-9
_CHUNK = 50  # evaluations held in memory at a time
_FIELDS = {
    **{name: name for name in ("quantity", "value", "unit", "expanded_uncertainty", "coverage_factor", "decision")},
    **{name: name for name in ("probability_of_conformity", "judges", "verdict", "reason", "stage")},
    "minimum": "min",
    "maximum": "max",
}


@dataclass(frozen=True)
class Difference:
    """One thing that is stored otherwise than it is computed now.

    Attributes
    ----------
    run : str
        Number of the run.
    evaluation : int
        Key of the stored evaluation.
    position : int or None
        Of the finding; None where the whole evaluation is meant.
    quantity, field : str
        Which quantity and what of it, as ``value`` or ``verdict``.
    stored, computed : object
        As stored and as computed now.
    version : str
        Version of the evaluation that was stored.
    """

    run: str
    evaluation: int
    position: int | None
    quantity: str
    field: str
    stored: Any
    computed: Any
    version: str

    def as_dict(self) -> dict[str, Any]:
        """Return the difference for JSON."""
        return dict(vars(self))


@dataclass(frozen=True)
class Recomputation:
    """What came of it: how many evaluations and findings were computed again, and every difference."""

    evaluations: int
    findings: int
    differences: tuple[Difference, ...]
    version: str = EVALUATION_VERSION

    @property
    def is_same(self) -> bool:
        """Whether everything that is stored was found again."""
        return not self.differences

    def as_dict(self) -> dict[str, Any]:
        """Return the whole for JSON."""
        return {
            "evaluation_version": self.version,
            "evaluations": self.evaluations,
            "findings": self.findings,
            "differences": [difference.as_dict() for difference in self.differences],
        }


def recompute_findings(*, on_progress: Callable[[str], None] = lambda words: None) -> Recomputation:
    """Compute every stored evaluation again from the stored record, the plan and the set-up, and compare.

    Parameters
    ----------
    on_progress : callable, optional
        Is told in words which evaluation is computed and how many there are.

    Returns
    -------
    Recomputation
        Frozen.

    Notes
    -----
    Compared are the bytes of the record with their digest, the digests of plan and set-up, the digest of the document,
    the verdict, and each field of each finding, in the document and in its own row; numbers to 1 part in 10⁹. The
    database is held read-only meanwhile. Each evaluation is computed with the set-up that is stored with it. An
    older one stores its digest only: where the set-up has changed since, that is a difference, and what follows is
    computed with the set-up as it is now.
    """
    with reading_only():
        rows, count = _evaluations(), Evaluation.objects.count()
        found: list[Difference] = []
        findings = 0
        for place, evaluation in enumerate(rows.iterator(chunk_size=_CHUNK), start=1):
            on_progress(f"Computing {place} of {count}: {evaluation.run.number}, {evaluation.run.step.title}")
            findings += len(evaluation.findings.all())
            found += _differences(evaluation)
    return Recomputation(count, findings, tuple(found))


def _evaluations() -> QuerySet[Evaluation]:
    rows = Evaluation.objects.select_related("run__step__plan__unit", "run__arrangement", "run__bay", "record__run")
    return rows.prefetch_related(
        "findings",
        "run__checks",
        *(f"run__instruments__{name}" for name in ("instrument", "system", "calibration")),
    )


def _differences(evaluation: Evaluation) -> Iterator[Difference]:
    def differ(field: str, stored: Any, computed: Any, quantity: str = "", position: int | None = None) -> Difference:
        return Difference(
            evaluation.run.number,
            evaluation.pk,
            position,
            quantity,
            field,
            stored,
            computed,
            evaluation.evaluation_version,
        )

    yield from _of_digests(evaluation, differ)
    records = _records_of(evaluation)
    try:
        yield from _of_bytes(records, differ)
        document = _computed(evaluation, _set_of(evaluation, records))
    except (RecordRefused, BadStep, BadSetup, OSError, Record.DoesNotExist) as fault:
        yield differ("record", "evaluated", f"cannot be computed: {fault}")
        return
    digest = document["recording"]["sha256"] if len(records) > 1 else records[0].sha256
    if evaluation.record_digest != digest:
        yield differ("record_digest", evaluation.record_digest, digest)
    if evaluation.verdict != document["verdict"]:
        yield differ("verdict", evaluation.verdict, document["verdict"])
    yield from _of_rows(evaluation, document["findings"], differ)
    yield from _of_document(evaluation, document, differ)


def _of_digests(evaluation: Evaluation, differ: Callable[..., Difference]) -> Iterator[Difference]:
    digests = {name: getattr(evaluation, name) for name in ("record_digest", "plan_digest", "setup_digest")}
    now = {
        "plan_digest": evaluation.run.step.plan.digest,
        "setup_digest": digest_of(setup_used(evaluation.run, evaluation)),
        "digest": digest_of({"document": evaluation.document, **digests}),
    }
    for name, computed in now.items():
        stored = getattr(evaluation, name)
        if stored != computed:
            yield differ(name, stored, computed)


def _records_of(evaluation: Evaluation) -> list[Record]:
    """Return the records that were judged together, as the evaluation lists them.

    Earlier releases listed none: of impulses those up to the newest counted, of all others one.
    """
    listed = evaluation.document.get("records")
    if listed is not None:
        known = {row.sha256: row for row in Record.objects.select_related("run").filter(run=evaluation.run_id)}
        return [_playing(known[one["sha256"]], one["part"]) for one in listed]
    if not usual_part(evaluation.run.step.kind).takes_many:
        return [evaluation.record]
    rows = Record.objects.select_related("run").filter(
        run=evaluation.run_id, state=Record.State.READ, pk__lte=evaluation.record_id
    )
    return [row for row in rows.order_by("pk") if row.summary.get("arrays")]


def _of_bytes(records: list[Record], differ: Callable[..., Difference]) -> Iterator[Difference]:
    for record in records:
        with absolute(record.path).open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
        if digest != record.sha256:
            yield differ("bytes", record.sha256, digest)


def _playing(record: Record, part: str) -> Record:
    """Return a record with the part that it played then; the part may have been changed since."""
    record.part = part
    return record


def _set_of(evaluation: Evaluation, records: list[Record]) -> Series:
    kind = evaluation.run.step.kind
    members = []
    for record in records:
        part = part_named(kind, record.part) or usual_part(kind)
        members.append(Member(record, part, _read_again(record, kind)))
    listed = evaluation.document.get("records") or ()
    named = [row.get("called", "") for row in listed] or [""] * len(members)
    return Series(kind, tuple(members), tuple(named))


def _computed(evaluation: Evaluation, series: Series) -> dict[str, Any]:
    run: Run = evaluation.run
    document = document_of(run, stated=evaluation.document.get("stated", {}))
    return series.judged(document, parse_setup(setup_used(run, evaluation))).as_dict()


def _read_again(record: Record, kind: str) -> Recording:
    """Read the stored bytes as they were read then: with the same columns, and with the other file of a pair."""
    used, pair = record.summary.get("columns_used"), record.summary.get("companion")
    other = record.run.records.get(sha256=pair["sha256"]) if pair else None
    return read_part(
        kind,
        record.part,
        lambda wanted: read_in_child(
            absolute(record.path),
            columns=ColumnMap.from_dict(used) if used else None,
            limits=Limits(max_bytes=settings.UPLOAD_LIMIT_BYTES),
            wanted=wanted,
            companion=absolute(other.path) if other else None,
        ),
    )


def _of_rows(
    evaluation: Evaluation, computed: list[dict[str, Any]], differ: Callable[..., Difference]
) -> Iterator[Difference]:
    rows: list[Finding] = sorted(evaluation.findings.all(), key=lambda row: row.position)
    if [row.position for row in rows] != list(range(1, len(computed) + 1)):
        yield differ("findings", len(rows), len(computed))
    for row, fresh in zip(rows, computed, strict=False):
        for name, key in _FIELDS.items():
            stored = getattr(row, name) or None if name == "stage" else getattr(row, name)
            if not _same(stored, fresh[key]):
                yield differ(name, stored, fresh[key], row.quantity, row.position)


def _of_document(
    evaluation: Evaluation, computed: dict[str, Any], differ: Callable[..., Difference]
) -> Iterator[Difference]:
    """Compare the stored document, which signatures bind, with the one computed now."""
    for place, (stored, fresh) in enumerate(
        zip(evaluation.document.get("findings", ()), computed["findings"], strict=False), start=1
    ):
        for key in fresh:
            if not _same(stored.get(key), fresh[key]):
                yield differ(f"document.{key}", stored.get(key), fresh[key], fresh["quantity"], place)
    rest = {"verdict", "recording", "stages", "events", "remarks", "details", "evaluation_version"}
    for key in sorted(rest):
        if not _same(evaluation.document.get(key), computed[key]):
            yield differ(f"document.{key}", evaluation.document.get(key), computed[key])


def _same(stored: Any, computed: Any) -> bool:
    if isinstance(stored, dict) and isinstance(computed, dict):
        return stored.keys() == computed.keys() and all(_same(stored[key], computed[key]) for key in stored)
    if isinstance(stored, list | tuple) and isinstance(computed, list | tuple):
        return len(stored) == len(computed) and all(_same(a, b) for a, b in zip(stored, computed, strict=True))
    if isinstance(stored, int | float) and isinstance(computed, int | float) and not isinstance(stored, bool):
        return math.isclose(stored, computed, rel_tol=_RELATIVE)
    return bool(stored == computed)
