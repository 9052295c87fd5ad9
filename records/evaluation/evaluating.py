"""One step, one record, one set-up: to findings and a verdict."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from records.evaluation import discharge, withstand
from records.evaluation.examination import Examination
from records.evaluation.findings import Evaluation, Finding
from records.evaluation.joining import join
from records.evaluation.judging import combine, judge
from records.evaluation.measured import Measured
from records.evaluation.quantities import CHANNELS_BY_KIND
from records.evaluation.setups import Setup
from records.evaluation.soundness import unsound
from records.evaluation.step import Criterion, Step, parse_step
from records.readers.recording import Recording

KINDS: Mapping[str, Callable[[Step, Recording, Setup], Examination]] = {
    "power_frequency_withstand": withstand.examine,
    "partial_discharge": discharge.examine,
}


def evaluate(step: Step | Mapping[str, Any], recordings: Sequence[Recording], setup: Setup | None = None) -> Evaluation:
    """Return the findings and the verdict of one performance of one step.

    Parameters
    ----------
    step : Step or mapping
        One step of the plan; a mapping is parsed first.
    recordings : sequence of Recording
        The record; several are taken as its parts and joined in order of time.
    setup : Setup, optional
        Set-up checks.

    Returns
    -------
    Evaluation
        Frozen. Arrays that cannot be evaluated (empty, NaN, reversed, …) give ``not_valid`` with the reason.

    Raises
    ------
    BadStep
        The mapping is no step that can be evaluated.
    RecordsDoNotJoin
        Several records that are not parts of one.

    Notes
    -----
    What the standards always ask of the test (each stage reached and held, noise at most half the limit) and of the
    unit (no disruptive discharge) is judged even where the procedure does not list it. `combine` says how the verdict
    of the whole follows. Same input, same output: there is no clock and no chance in it.
    """
    known = step if isinstance(step, Step) else parse_step(step)
    recording, circuit = join(recordings), setup or Setup()
    reason = unsound(recording, CHANNELS_BY_KIND[known.kind])
    if reason:
        return _not_evaluable(known, recording, reason)
    examination = KINDS[known.kind](known, recording, circuit)
    criteria = [*_still_asked(examination.implied, known.criteria), *known.criteria]
    findings = [judge(criterion, examination.measure(criterion)) for criterion in criteria]
    verdict, settled = combine(findings, overstressed=examination.overstressed)
    return Evaluation(
        verdict,
        settled,
        examination.stages,
        examination.events,
        (*recording.oddities, *examination.remarks),
        recording.rows,
        recording.sha256,
        recording.duration_s,
    )


def _still_asked(implied: Sequence[Criterion], listed: Sequence[Criterion]) -> list[Criterion]:
    """Return what is implied and not asked as strictly, of the same judge and rule, by a listed criterion."""
    return [asked for asked in implied if not any(_covers(criterion, asked) for criterion in listed)]


def _covers(listed: Criterion, asked: Criterion) -> bool:
    if (listed.quantity, listed.judges) != (asked.quantity, asked.judges) or listed.stage != asked.stage:
        return False
    if listed.decision != asked.decision or (asked.minimum is None and asked.maximum is None):
        return False
    low = asked.minimum is None or (listed.minimum is not None and listed.minimum >= asked.minimum)
    high = asked.maximum is None or (listed.maximum is not None and listed.maximum <= asked.maximum)
    return low and high


def _not_evaluable(step: Step, recording: Recording, reason: str) -> Evaluation:
    findings: list[Finding] = [
        judge(criterion, Measured(None, words=reason, settled="not_valid"))
        for criterion in step.criteria or (Criterion("held_s", step.stages[-1].name, judges="test", is_implied=True),)
    ]
    duration = recording.duration_s
    return Evaluation(
        "not_valid",
        tuple(findings),
        (),
        (),
        recording.oddities,
        recording.rows,
        recording.sha256,
        duration if duration == duration and abs(duration) != float("inf") else 0.0,
    )
