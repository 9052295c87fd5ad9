"""Background jobs: a record is read, checked, judged and its verdict kept; a certificate is composed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

from django.conf import settings

from labsite.jobs.registry import job
from labsite.jobs.services import JobRefused, Progress
from records.evaluation.evaluating import KINDS
from records.evaluation.findings import Evaluation as Judgement
from records.evaluation.parts import read_part
from records.evaluation.setups import parse_setup
from records.evaluation.step import BadStep, parse_step
from records.models import Record, Run
from records.models.procedure import document_of
from records.readers.columns import ColumnMap
from records.readers.isolation import read_in_child
from records.readers.recording import Limits, Recording, Samples
from records.readers.refusals import MappingNeeded, RecordRefused
from records.selectors.digests import setup_document
from records.services import assessing, composing, impact_document
from records.services.certificates import JOB as CERTIFICATE_JOB
from records.services.evaluations import keep_evaluation, keep_mapping_need, keep_refusal
from records.services.impact import DOCUMENT_JOB, PART_JOB, TRACE_JOB
from records.services.pairing import companion_of, keep_pair
from records.services.rejudging import JOB
from records.services.series import Series, arrays_path, kept_recording, series_with
from records.services.storing import absolute, keep_arrays

STAGES = ("Reading", "Checking", "Judging", "Saving")


@job(JOB, stages=STAGES)
def evaluate_record(progress: Progress, *, record_id: int) -> None:
    """Read one record in a child process, judge the set of its run, keep what was found; a repeat changes nothing.

    The judging is done before anything is locked; where the set has changed meanwhile it is done once more inside.
    """
    record = _fetch(record_id)
    if record is None:
        raise JobRefused(f"There is no record number {record_id}. Nothing was judged; upload the file again.")
    if record.state != Record.State.STORED:
        return
    _require_judgeable(record)
    progress.stage("Reading", 10)
    read = _kept(record) or _read_anew(progress, record)
    if read is None:
        return
    recording, summary, companion = read
    progress.stage("Judging", 70)
    foreseen = series_with(record, recording)
    with ThreadPoolExecutor(max_workers=1) as aside:  # the arrays are written while they are judged
        kept = None if summary is record.summary else aside.submit(keep_arrays, summary["arrays"], _columns(recording))
        known = _judged(record.run, foreseen)
        if kept is not None:
            kept.result()
    progress.stage("Saving", 90)
    with progress.completing():
        now = _fetch(record_id)
        if now is None or now.state != Record.State.STORED or now.part != record.part:
            return  # set aside, or given another part, while it was read
        series = series_with(now, recording)
        if (series.key, _given(now.run)) != (foreseen.key, known.given):
            known = _judged(now.run, series)
        keep_evaluation(
            record=record,
            judgement=known.judgement,
            setup=known.given[0],
            summary=summary,
            series=series,
            by=record.uploaded_by,
        )
        if companion is not None:
            keep_pair(record=record, companion=companion, by=record.uploaded_by)


_Read = tuple[Recording, dict[str, Any], Record | None]


def _kept(record: Record) -> _Read | None:
    """Return what was read of the file before and its summary, where it would be read the same way now."""
    recording = kept_recording(record)
    return None if recording is None else (recording, record.summary, None)


def _read_anew(progress: Progress, record: Record) -> _Read | None:
    """Return what the file says, its summary, and the other file of its pair; where it cannot be read, keep why."""
    try:
        recording, used_map, companion = _read_with_companion(record)
    except MappingNeeded as need:
        preview = need.preview.as_dict() if need.preview else {}
        with progress.completing(need.message):
            keep_mapping_need(record=record, words=need.message, preview=preview, by=record.uploaded_by)
        return None
    except RecordRefused as refusal:
        words = _located(refusal)
        with progress.completing(words):
            keep_refusal(record=record, words=words, by=record.uploaded_by)
        return None
    progress.stage("Checking", 50)
    return recording, _summary(record, recording, used_map, companion), companion


def _fetch(record_id: int) -> Record | None:
    rows = Record.objects.select_related("run__step__plan__unit", "uploaded_by")
    return rows.prefetch_related("run__instruments__instrument", "run__checks").filter(pk=record_id).first()


@dataclass(frozen=True)
class _Judged:
    """The judgement of a set, and the set-up and step that it was given beside the files."""

    given: tuple[dict[str, Any], Mapping[str, Any]]
    judgement: Judgement


def _given(run: Run) -> tuple[dict[str, Any], Mapping[str, Any]]:
    return setup_document(run), document_of(run)


def _judged(run: Run, series: Series) -> _Judged:
    setup, document = _given(run)
    return _Judged((setup, document), series.judged(document, parse_setup(setup)))


def _require_judgeable(record: Record) -> None:
    kind = record.run.step.kind
    if kind not in KINDS:
        raise JobRefused(
            f"Records of {kind.replace('_', ' ')} cannot be judged by this release. The file is kept as it came."
        )
    try:
        parse_step(document_of(record.run))
    except BadStep as fault:
        raise JobRefused(
            f"The step of the plan cannot be judged as it is written: {fault} The file is kept."
        ) from fault


def _read_with_companion(record: Record) -> tuple[Recording, ColumnMap | None, Record | None]:
    """Read a record with the other file of its pair, where the run has one that could be it, else alone."""
    companion = companion_of(record)
    if companion is None:
        return (*_read(record, None), None)
    try:
        return (*_read(record, companion), companion)
    except MappingNeeded:
        raise
    except RecordRefused as of_pair:
        try:
            return (*_read(record, None), None)
        except RecordRefused:
            raise of_pair from None


def _read(record: Record, companion: Record | None) -> tuple[Recording, ColumnMap | None]:
    """Read by the record's own map, else by its heads, else by a map remembered for an instrument of the run."""
    limits = Limits(max_bytes=settings.UPLOAD_LIMIT_BYTES)
    other = absolute(companion.path) if companion else None
    place = absolute(record.path)

    def read(columns: ColumnMap | None) -> Recording:
        return read_part(
            record.run.step.kind,
            record.part,
            lambda wanted: read_in_child(place, columns=columns, limits=limits, wanted=wanted, companion=other),
        )

    own = ColumnMap.from_dict(record.column_map) if record.column_map else None
    try:
        return read(own), own
    except MappingNeeded as need:
        for remembered in _remembered(record) if own is None else ():
            try:
                return read(remembered), remembered
            except RecordRefused:
                continue
        raise need


def _remembered(record: Record) -> Iterator[ColumnMap]:
    for use in record.run.instruments.all():
        if use.instrument.column_map:
            yield ColumnMap.from_dict(use.instrument.column_map)


def _located(refusal: RecordRefused) -> str:
    if refusal.row and f"Row {refusal.row}" not in refusal.message:
        return f"Row {refusal.row}: {refusal.message}"
    return refusal.message


def _columns(recording: Recording) -> dict[str, Samples]:
    """Return the arrays by name, the time axis first where the record runs over time."""
    has_time = len(recording.time_s) or not recording.channels
    return {**({"time_s": recording.time_s} if has_time else {}), **recording.channels}


def _summary(
    record: Record, recording: Recording, used_map: ColumnMap | None, companion: Record | None
) -> dict[str, Any]:
    """Return what pages show of a record that was read, and where its arrays lie."""
    mapped = used_map.as_dict() if used_map else {}
    return {
        "rows": recording.rows,
        "sha256": recording.sha256,
        "duration_s": recording.duration_s,
        "channels": list(_columns(recording)),
        "metadata": dict(recording.metadata),
        "oddities": list(recording.oddities),
        "columns_used": mapped,
        "arrays": arrays_path(record, mapped, companion.sha256 if companion else ""),
        "preview": recording.preview.as_dict() if recording.preview else {},
        "companion": {"name": companion.given_name, "sha256": companion.sha256} if companion else None,
    }


@job(CERTIFICATE_JOB, stages=composing.STAGES)
def compose_certificate(progress: Progress, *, certificate_id: int, form: str) -> None:
    """Compose the draft or the final form of one certificate; the same content gives the same file."""
    composing.compose_form(progress, certificate_id, form)


@job(TRACE_JOB, stages=("Tracing",))
def trace_impact(progress: Progress, *, work_id: int) -> None:
    """List what a wrong instrument touched; the runs are recomputed in parts, by as many workers as there are."""
    assessing.trace(progress, work_id)


@job(PART_JOB, stages=("Recomputing", "Saving"))
def recompute_impact(progress: Progress, *, work_id: int, first: int, last: int) -> None:
    """Recompute one part of the affected runs with the error that was found."""
    assessing.recompute_part(progress, work_id, first, last)


@job(DOCUMENT_JOB, stages=impact_document.STAGES)
def compose_impact(progress: Progress, *, work_id: int) -> None:
    """Compose the document for the file of nonconforming work."""
    impact_document.compose_document(progress, work_id)
