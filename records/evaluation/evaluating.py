"""One step, one record, one set-up: to findings and a verdict."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from records.evaluation import (
    capacitance,
    discharge,
    dissipation_factor,
    inductance,
    insulation_resistance,
    temperature_rise,
    winding_resistance,
    withstand,
)
from records.evaluation.correcting import correct
from records.evaluation.examination import Examination, NotExaminable
from records.evaluation.findings import Evaluation, Finding
from records.evaluation.impulse import examining as impulses
from records.evaluation.joining import PulseRecording, TooManyParts, digest_of_parts, join, pair, parts_of
from records.evaluation.judging import combine, judge
from records.evaluation.kinds import KINDS as DECLARED
from records.evaluation.measured import Measured
from records.evaluation.setups import Setup
from records.evaluation.soundness import unsound
from records.evaluation.step import BadStep, Criterion, Step, parse_step
from records.evaluation.sweep import examining as sweeps
from records.evaluation.sweep.knots import measured_sweeps
from records.evaluation.wording import called, opening
from records.readers.recording import Recording

# Kinds whose records are parts of one, joined in order of time.
_OF_ONE: Mapping[str, Callable[[Step, Recording, Setup], Examination]] = {
    "power_frequency_withstand": withstand.examine,
    "partial_discharge": discharge.examine,
    "insulation_resistance": insulation_resistance.examine,
    "temperature_rise": temperature_rise.examine,
}
# Kinds whose records are looked at side by side, in the order given: impulses, phases, before and after.
_OF_SEVERAL: Mapping[str, Callable[[Step, Sequence[Recording], Setup], Examination]] = {
    "lightning_impulse": impulses.examine,
    "frequency_response": sweeps.examine,
    "winding_resistance": winding_resistance.examine,
    "dissipation_factor": dissipation_factor.examine,
    "capacitance": capacitance.examine,
    "inductance": inductance.examine,
}
KINDS: frozenset[str] = frozenset(_OF_ONE) | frozenset(_OF_SEVERAL)


def evaluate(step: Step | Mapping[str, Any], recordings: Sequence[Recording], setup: Setup | None = None) -> Evaluation:
    """Return the findings and the verdict of one performance of one step.

    Parameters
    ----------
    step : Step or mapping
        One step of the plan; a mapping is parsed first.
    recordings : sequence of Recording
        The record; several are joined in order of time or looked at side by side, as the kind asks.
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
        No record, or several that are not parts of one where the kind takes them as parts.

    Notes
    -----
    What the standards always ask of the test (each stage reached and held, noise at most half the limit) and of the
    unit (no disruptive discharge) is judged even where the procedure does not list it. `combine` says how the verdict
    of the whole follows. Same input, same output: there is no clock and no chance in it.
    """
    known = step if isinstance(step, Step) else parse_step(step)
    if known.kind not in KINDS:
        raise BadStep(f"kind: {known.kind} cannot be evaluated by this release; use one of {', '.join(sorted(KINDS))}.")
    records, circuit = _records(known, recordings), setup or Setup()
    whole = _Whole.of(records)
    reason = _unsound(records, known)
    if reason:
        return _not_evaluable(known, whole, reason)
    if known.kind == "frequency_response":
        records, said = measured_sweeps(records)
        whole = replace(whole, oddities=(*whole.oddities, *said))
    done = correct(known, records, circuit)
    try:
        examination = _examination(known, done.records, done.setup)
    except (NotExaminable, TooManyParts) as fault:
        return _not_evaluable(known, whole, str(fault))
    criteria = [*_still_asked(examination.implied, known.criteria), *known.criteria]
    findings = [judge(criterion, done.told(known, criterion, examination.measure(criterion))) for criterion in criteria]
    verdict, settled = combine(findings, overstressed=examination.overstressed)
    return Evaluation(
        verdict,
        settled,
        examination.stages,
        examination.events,
        (*whole.oddities, *done.remarks, *examination.remarks),
        whole.rows,
        whole.sha256,
        whole.duration_s,
        details=examination.details,
    )


def _examination(step: Step, records: Sequence[Recording], setup: Setup) -> Examination:
    if step.kind in _OF_ONE:
        return _OF_ONE[step.kind](step, records[0], setup)
    told_apart = [part for record in records for part in parts_of(record)]
    return _OF_SEVERAL[step.kind](step, told_apart, setup)


def _records(step: Step, recordings: Sequence[Recording]) -> tuple[Recording, ...]:
    if step.kind == "partial_discharge":
        return (pair(recordings),)
    if step.kind in _OF_ONE or not recordings:
        return (join(recordings),)
    return tuple(recordings)


def _unsound(records: Sequence[Recording], step: Step) -> str:
    """Return why one of the records cannot be looked at, naming it where there are several; empty where all can."""
    for place, record in enumerate(records, start=1):
        reason = unsound(record, DECLARED[step.kind])
        if not reason and isinstance(record, PulseRecording):
            reason = unsound(record.voltage, DECLARED["power_frequency_withstand"])
        if reason:
            if len(records) == 1:
                return reason
            return opening(f"{called(record, f'Record {place} of {len(records)}')}: {reason}")
    return ""


@dataclass(frozen=True)
class _Whole:
    """What is said of all records together: rows and time in sum, one digest over the records' digests."""

    rows: int
    sha256: str
    duration_s: float
    oddities: tuple[str, ...]

    @classmethod
    def of(cls, records: Sequence[Recording]) -> _Whole:
        timed = [record for record in records if len(record.time_s) and np.isfinite(record.time_s[[0, -1]]).all()]
        duration = math.fsum(record.duration_s for record in timed)
        return cls(
            sum(record.rows for record in records),
            records[0].sha256 if len(records) == 1 else digest_of_parts(records),
            duration,
            tuple(dict.fromkeys(oddity for record in records for oddity in record.oddities)),
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


def not_evaluable(step: Step, recordings: Sequence[Recording], reason: str) -> Evaluation:
    """Return ``not_valid`` with the reason for a set of records that does not fit together, as a fault of the test.

    Parameters
    ----------
    step : Step
        Whose criteria are each answered with the reason.
    recordings : sequence of Recording
        At least one.
    reason : str
        Why, in a sentence.
    """
    return _not_evaluable(step, _Whole.of(recordings), reason)


def _not_evaluable(step: Step, whole: _Whole, reason: str) -> Evaluation:
    implied = Criterion(
        DECLARED[step.kind].quantities[0],
        step.stages[-1].name if step.stages else None,
        judges="test",
        is_implied=True,
    )
    findings: list[Finding] = [
        judge(criterion, Measured(None, words=reason, settled="not_valid")) for criterion in step.criteria or (implied,)
    ]
    return Evaluation("not_valid", tuple(findings), (), (), whole.oddities, whole.rows, whole.sha256, whole.duration_s)
