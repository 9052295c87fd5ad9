"""What a reviewer must look at in a run, first things first, and what the run stands beside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from records.evaluation.figures import (
    NOT_KNOWN,
    Figure,
    figure_of,
    is_only_reported,
    limits_in_words,
    statement_of,
    word_of,
)
from records.evaluation.parts import part_named
from records.models import Evaluation, Finding, Record, Run
from records.models.procedure import basis_words, document_of, quantity_words, stage_words
from records.models.verdicts import Verdict
from records.selectors.comparison import beside_others
from records.selectors.digests import current_evaluation
from records.selectors.matters import Matter

_LIKELY = 0.95  # below this probability of conformity a conforming value is near its limit; common practice, no source


_USUAL = 0.005  # a coverage factor nearer to 2 is stated as 2


@dataclass(frozen=True)
class FindingRow:
    """One finding as a table shows it."""

    finding: Finding
    quantity: str
    stage: str
    limit: str
    basis: str
    statement: str = ""

    @property
    def is_only_reported(self) -> bool:
        """Say whether the plan names no limit for it, so that it has a value and no verdict of its own."""
        return is_only_reported(self.finding.minimum, self.finding.maximum)

    @property
    def word(self) -> str:
        """Return a word in place of a verdict: “reported” without limit, “valid” for a test inside its limits."""
        row = self.finding
        return word_of(row.verdict, row.judges, row.minimum, row.maximum)

    @property
    def value(self) -> str:
        """Return the value with its unit, rounded to its uncertainty."""
        return _with_unit(self._figure.value, self._figure.unit)

    @property
    def uncertainty(self) -> str:
        """Return the expanded uncertainty with its unit, to two digits."""
        return _with_unit(self._figure.uncertainty, self._figure.unit)

    @property
    def factor(self) -> str:
        """Return the coverage factor where it is not 2, as few readings ask it; else nothing."""
        k = self.finding.coverage_factor
        return f"{k:.2f}" if k is not None and self.finding.expanded_uncertainty and abs(k - 2) >= _USUAL else ""

    @property
    def result(self) -> str:
        """Return value and uncertainty with the unit, in one text."""
        return _with_unit(self._figure.with_uncertainty, self._figure.unit)

    @property
    def _figure(self) -> Figure:
        row = self.finding
        return figure_of(row.quantity, row.value, row.expanded_uncertainty, row.unit)


def _with_unit(text: str, unit: str) -> str:
    return f"{text}\N{THIN SPACE}{unit}" if unit and text != NOT_KNOWN else text


def finding_rows(evaluation: Evaluation | None) -> list[FindingRow]:
    """Return the findings, what judges the unit first, each with limit and basis in words."""
    if evaluation is None:
        return []
    document = document_of(evaluation.run)
    found = sorted(evaluation.findings.all(), key=_place)
    stated = dict(enumerate(evaluation.document.get("findings", ()), start=1))
    return [
        FindingRow(
            row,
            quantity_words(row.quantity),
            stage_words(row.stage) if row.stage else "",
            limits_in_words(row.minimum, row.maximum, row.unit),
            basis_words(document, row.quantity, row.stage),
            statement_of(stated.get(row.position, {})),
        )
        for row in found
    ]


def judged_files(evaluation: Evaluation | None) -> list[dict[str, str]]:
    """Return the files that were judged together, in the order in which findings number them; none for a single one."""
    rows = evaluation.document.get("records", ()) if evaluation else ()
    if evaluation is None or len(rows) < 2:
        return []
    kind = evaluation.run.step.kind
    parts = {row["part"]: part_named(kind, row["part"]) for row in rows}
    return [{**row, "words": part.words if (part := parts[row["part"]]) else row["part"]} for row in rows]


def _place(row: Finding) -> tuple[bool, bool, int]:
    """Return the place of a finding: what judges the unit first, and what has a limit before what is only reported."""
    return row.judges != "unit", row.minimum is None and row.maximum is None, row.position


def what_needs_judgement(run: Run) -> list[Matter]:
    """Return what a reviewer must look at: faults of the unit, faults of the test, overrides, oddities."""
    evaluation = current_evaluation(run)
    matters = [*_verdicts(evaluation), *_overrides(run), *_marks(run), *_records(run)]
    if evaluation is not None:
        matters += [Matter("info", words) for words in evaluation.document.get("remarks", ())]
        matters += beside_others(run, evaluation)
    return sorted(matters, key=lambda matter: ("bad", "warn", "info").index(matter.tone))


def _verdicts(evaluation: Evaluation | None) -> list[Matter]:
    if evaluation is None:
        return []
    matters = []
    for row in evaluation.findings.all():
        if row.verdict == Verdict.DOES_NOT_CONFORM:
            matters.append(Matter("bad", f"The unit: {row.reason}"))
        elif row.verdict == Verdict.NOT_VALID:
            matters.append(Matter("warn", f"A fault of the test, not of the unit: {row.reason}"))
        elif row.verdict == Verdict.INCONCLUSIVE:
            matters.append(Matter("warn", f"Not decided: {row.reason}"))
        elif row.probability_of_conformity is not None and row.probability_of_conformity < _LIKELY:
            name, chance = quantity_words(row.quantity), row.probability_of_conformity
            matters.append(Matter("info", f"{name} conforms, near its limit (probability {chance:.2f})."))
    return matters


def _overrides(run: Run) -> list[Matter]:
    return [
        Matter(
            "warn",
            f"{use.instrument.identifier} was used out of calibration: {use.status_reason} "
            f"Overridden by {use.overridden_by}: {use.override_reason}",
        )
        for use in run.instruments.all()
        if use.overridden_by_id is not None
    ]


def _marks(run: Run) -> list[Matter]:
    return [
        Matter("warn", f"{mark.marked_by} noted “{mark.get_outcome_display().lower()}” at {stage_words(mark.stage)}.")
        for mark in run.marks.all()
        if mark.outcome != mark.Outcome.HELD
    ]


def _records(run: Run) -> list[Matter]:
    records = list(run.records.all())
    matters = [
        Matter("info", f"“{record.given_name}”: {words}")
        for record in records
        for words in record.summary.get("oddities", ())
    ]
    matters += _beside_the_set(run, records)
    own = [record.sha256 for record in records if not _is_lendable(record, run)]
    same = Record.objects.filter(sha256__in=own).exclude(run=run)
    matters += [
        Matter("bad", f"The same bytes are a record of run {other.run.number} too.")
        for other in same.select_related("run")[:5]
    ]
    return matters


def _beside_the_set(run: Run, records: list[Record]) -> list[Matter]:
    """Say which files were uploaded and not judged, as one that a newer took the place of; all are kept."""
    evaluation = current_evaluation(run)
    if evaluation is None or len(records) < 2:
        return []
    listed = evaluation.document.get("records") or [{"sha256": evaluation.record.sha256}]
    judged = {row["sha256"] for row in listed}
    left = [record for record in records if record.sha256 not in judged and _could_count(record)]
    return [
        Matter("warn", f"“{record.given_name}” was uploaded and is not judged: {_why_left(record)} It is kept.")
        for record in left
    ]


def _could_count(record: Record) -> bool:
    """Say whether a file was read and could be judged, or a person took it out; the other half of a pair is neither."""
    return record.state == Record.State.SET_ASIDE or bool(record.summary.get("arrays"))


def _why_left(record: Record) -> str:
    if record.state == Record.State.SET_ASIDE:
        return record.words if record.words.endswith(".") else f"{record.words}."
    return "a newer file plays its part."


def _is_lendable(record: Record, run: Run) -> bool:
    part = part_named(run.step.kind, record.part)
    return part is not None and part.is_lendable


def earlier_runs(run: Run, viewer: Any) -> QuerySet[Run]:
    """Return the other runs of the same unit, newest first."""
    runs = Run.objects.visible_to(viewer).for_list()
    return runs.filter(step__plan__unit=run.step.plan.unit_id).exclude(pk=run.pk)
