"""Keeping what an evaluation found, or why a record could not be judged."""

from __future__ import annotations

from typing import Any

from labsite.ledger.services import record_entry, writing
from records.evaluation.findings import EVALUATION_VERSION
from records.evaluation.findings import Evaluation as Judgement
from records.models import Evaluation, Finding, Record, Run
from records.selectors.digests import current_evaluation, digest_of
from records.services import lifecycle
from records.services.refusals import Refused
from records.services.series import Series


def keep_evaluation(
    *,
    record: Record,
    judgement: Judgement,
    setup: dict[str, Any],
    summary: dict[str, Any],
    series: Series | None = None,
    by: Any,
) -> Evaluation:
    """Store verdict and findings of one record with the set-up they rest on, and move its run to the tester's sign-off.

    Where several records of the run were judged together the evaluation belongs to the newest of them, and its
    digest of the record is that over all their digests.
    """
    with writing():
        run = lifecycle.locked(record.run)
        document = judgement.as_dict()
        digests = {
            "record_digest": judgement.sha256 if series and len(series.recordings) > 1 else record.sha256,
            "plan_digest": run.step.plan.digest,
            "setup_digest": digest_of(setup),
        }
        evaluation = Evaluation.objects.create(
            run=run,
            record=series.newest if series else record,
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
    is_waiting = run.records.filter(state=Record.State.STORED).exists()
    if counts is not None and not is_waiting and lifecycle.is_allowed(run.state, deed):
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
    """Let the run fall back on what was judged before, or wait for another record."""
    if run.evaluations.exists():
        _settle(run, "fall_back", by)
        return
    is_waiting = run.records.filter(state=Record.State.STORED).exists()
    if not is_waiting and lifecycle.is_allowed(run.state, "refuse_record"):
        lifecycle.move(run, "refuse_record", reason=words, by=by)


def set_aside_record(*, record: Record, reason: str, by: Any) -> None:
    """Give up a record whose columns nobody can tell, with a reason; its bytes stay, and the run waits for another."""
    words = lifecycle.required_text(reason, "Say why this record is set aside; nothing was changed.")
    with writing():
        run = lifecycle.locked(record.run)
        lifecycle.require(run, "tell_columns")
        lifecycle.require_person_of(run, by)
        row = Record.objects.select_for_update().get(pk=record.pk)
        if row.state != Record.State.NEEDS_MAPPING:
            raise Refused(f"“{row.given_name}” does not wait for its columns; it cannot be set aside.")
        _set_aside(row, Record.State.REFUSED, f"Set aside by {by}: {words}", {}, by)
        _go_back(run, words, by)


def keep_mapping_need(*, record: Record, words: str, preview: dict[str, Any], by: Any) -> None:
    """Mark a record whose columns a person must tell; the run stays where it is."""
    with writing():
        _set_aside(record, Record.State.NEEDS_MAPPING, words, {"preview": preview}, by)


def _set_aside(record: Record, state: Any, words: str, summary: dict[str, Any], by: Any) -> None:
    Record.objects.filter(pk=record.pk).update(state=state, words=words, summary=summary)
    told = {"state": [record.state, state]}
    record_entry(action=f"record.{state}", subject=record, changes=told, reason=words, by=by)
