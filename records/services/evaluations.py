"""Keeping what an evaluation found, or why a record could not be judged."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from labsite.ledger.services import record_entry, writing
from records.evaluation.findings import EVALUATION_VERSION
from records.evaluation.findings import Evaluation as Judgement
from records.models import Evaluation, Finding, Record, Run
from records.models.procedure import stated_step_values
from records.selectors.digests import current_evaluation, digest_of
from records.services import lifecycle
from records.services.rejudging import judge_again, waiting
from records.services.series import Series, series_of


def keep_evaluation(
    *,
    record: Record,
    judgement: Judgement,
    setup: dict[str, Any],
    summary: dict[str, Any],
    series: Series,
    by: Any,
) -> Evaluation:
    """Store verdict and findings over the set of a run's records, and move the run to the tester's signature.

    The set-up is kept as it was given. The document lists the files of the set with part and digest, and what people
    stated of the step, so that a signature binds them. Where several were judged together the evaluation belongs to the
    principal one, and its digest of the record is that over all their digests.
    """
    with writing():
        run = lifecycle.locked(record.run)
        stated = stated_step_values(run)
        document = judgement.as_dict() | {"records": series.described(), "stated": stated}
        principal = series.principal
        digests = {
            "record_digest": judgement.sha256 if len(series.members) > 1 else principal.sha256,
            "plan_digest": run.step.plan.digest,
            "setup_digest": digest_of(setup),
        }
        evaluation = Evaluation.objects.create(
            run=run,
            record=principal,
            evaluation_version=EVALUATION_VERSION,
            verdict=judgement.verdict,
            document=document,
            setup=setup,
            digest=digest_of({"document": document, **digests}),
            **digests,
        )
        Finding.objects.bulk_create(_findings(evaluation, document))
        Record.objects.filter(pk=record.pk).update(state=Record.State.READ, words="", summary=summary)
        entry = {"verdict": [None, judgement.verdict], "digest": [None, evaluation.digest], **_told(digests)}
        record_entry(action="record.evaluate", subject=record, changes=entry, by=by)
        _settle(run, "judge", by)
        return evaluation


def _settle(run: Run, deed: str, by: Any) -> None:
    """Let the run follow the evaluation that counts, once no other record of it waits to be judged."""
    counts = current_evaluation(run)
    if counts is not None and not waiting(run) and lifecycle.is_allowed(run.state, deed):
        lifecycle.move(run, deed, changes={"verdict": counts.verdict}, by=by)


def _told(digests: dict[str, str]) -> dict[str, list[str | None]]:
    return {name: [None, value] for name, value in digests.items()}


def _findings(evaluation: Evaluation, document: dict[str, Any]) -> list[Finding]:
    return [
        Finding(
            evaluation=evaluation,
            position=place,
            quantity=row["quantity"],
            stage=row["stage"] or "",
            value=row["value"],
            unit=row["unit"],
            expanded_uncertainty=row["expanded_uncertainty"],
            coverage_factor=row["coverage_factor"],
            minimum=row["min"],
            maximum=row["max"],
            decision=row["decision"],
            probability_of_conformity=row["probability_of_conformity"],
            judges=row["judges"],
            verdict=row["verdict"],
            reason=row["reason"],
        )
        for place, row in enumerate(document["findings"], start=1)
    ]


def keep_refusal(*, record: Record, words: str, by: Any) -> None:
    """Mark a record as refused, in words; the run waits for another one, and the bytes stay as they came."""
    with writing():
        run = lifecycle.locked(record.run)
        _set_aside(record, Record.State.REFUSED, words, {}, by)
        _go_back(run, words, by)


def _go_back(run: Run, words: str, by: Any) -> None:
    """Let the run fall back on what was judged before where the same files count, else be judged over those left."""
    counts = current_evaluation(run)
    if counts is not None and _still_stands(counts, run):
        _settle(run, "fall_back", by)
    else:
        judge_again(run, words, by)


def _still_stands(evaluation: Evaluation, run: Run) -> bool:
    """Say whether the files that an evaluation judged are still those that count."""
    judged, now = evaluation.document.get("records"), series_of(run).described()
    return judged is None or [_file(row) for row in judged] == [_file(row) for row in now]


def _file(row: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(row[key] for key in ("name", "part", "sha256"))


def keep_mapping_need(*, record: Record, words: str, preview: dict[str, Any], by: Any) -> None:
    """Mark a record whose columns a person must tell; the run stays where it is."""
    with writing():
        _set_aside(record, Record.State.NEEDS_MAPPING, words, {"preview": preview}, by)


def _set_aside(record: Record, state: Any, words: str, summary: dict[str, Any], by: Any) -> None:
    Record.objects.filter(pk=record.pk).update(state=state, words=words, summary=summary)
    told = {"state": [record.state, state]}
    record_entry(action=f"record.{state}", subject=record, changes=told, reason=words, by=by)
