"""A sequence of lightning impulses against its step: each impulse's shape, the discharges, and what was compared."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property

from records.evaluation.examination import Examination, as_told
from records.evaluation.findings import Verdict
from records.evaluation.impulse import telling
from records.evaluation.impulse.acceptance import Judged, judge_sequence, rounds_of
from records.evaluation.impulse.comparing import Difference, compare, current_trace, trace_of
from records.evaluation.impulse.known import Value
from records.evaluation.impulse.parameters import Impulse
from records.evaluation.impulse.shots import Shot, shots_of, wave_of
from records.evaluation.measured import COVERAGE_FACTOR, Measured, relative_standard_uncertainty, spoken
from records.evaluation.setups import Setup
from records.evaluation.step import Criterion, Stage, Step
from records.readers.recording import Recording

# Quantity: how an impulse tells it, which instruments count, unit in words.
_OF_IMPULSE: Mapping[str, tuple[Callable[[Impulse], Value], str | None, str]] = {
    "test_voltage_kv": (lambda impulse: impulse.test_voltage_kv, "voltage", "kV"),
    "front_time_us": (lambda impulse: impulse.front_us, "time", "µs"),
    "time_to_half_value_us": (lambda impulse: impulse.half_value_us, "time", "µs"),
    "relative_overshoot_pct": (lambda impulse: impulse.overshoot_pct, None, "%"),
    "time_to_chopping_us": (lambda impulse: impulse.chopping_us, "time", "µs"),
}
_WORDS = {
    "test_voltage_kv": "the test voltage Ut",
    "front_time_us": "the front time T1",
    "time_to_half_value_us": "the time to half value T2",
    "relative_overshoot_pct": "the relative overshoot β′",
    "time_to_chopping_us": "the time to chopping Tc",
}
_ONLY_FULL = ("time_to_half_value_us", "relative_overshoot_pct")
_ONLY_CHOPPED = ("time_to_chopping_us",)


class ImpulseTest:
    """Every impulse of one performance against one step.

    Parameters
    ----------
    step : Step
        With its stages and criteria.
    recordings : sequence of Recording
        One impulse each, in the order applied, with ``voltage_kv`` and, where the current was recorded, ``current_a``.
    setup : Setup
        Instruments; the one for time names its quantity.
    """

    def __init__(self, step: Step, recordings: Sequence[Recording], setup: Setup) -> None:
        self.step, self.setup = step, setup
        self.shots = shots_of(recordings, step.stages)
        self.rounds = rounds_of(step.stated)

    def at(self, stage: Stage) -> list[Shot]:
        """Return the impulses that count for a stage: at its level, or cut off by a discharge on the way."""
        return [shot for shot in self.shots if shot.stage is stage and shot.is_at_level]

    def _judged_shots(self, criterion: Criterion) -> list[Shot]:
        """Return the impulses whose quantity a criterion asks for: of its stage, or of all that have it."""
        shots = [
            shot
            for shot in self.shots
            if shot.stage and shot.impulse and not shot.is_discharge and criterion.stage in (None, shot.stage.name)
        ]
        if criterion.quantity in _ONLY_CHOPPED:
            shots = [shot for shot in shots if shot.impulse and shot.impulse.is_chopped]
        if criterion.quantity in _ONLY_FULL:
            shots = [shot for shot in shots if shot.impulse and not shot.impulse.is_chopped]
        return self._without_low(shots)

    def _without_low(self, shots: list[Shot]) -> list[Shot]:
        """Leave out impulses below their band where others of the same stage reached it: they were repeated."""
        reached = {shot.stage.name for shot in shots if shot.stage and shot.level_kv >= shot.stage.low_kv}
        return [
            shot
            for shot in shots
            if shot.stage and (shot.level_kv >= shot.stage.low_kv or shot.stage.name not in reached)
        ]

    def of_shape(self, criterion: Criterion) -> Measured:
        """Return one parameter of the impulses: of several the one that comes nearest to a limit, or furthest beyond.

        A criterion without limits is told as the mean.
        """
        tell, instrument, unit = _OF_IMPULSE[criterion.quantity]
        shots = self._judged_shots(criterion)
        if not shots:
            return self._none_to_measure(criterion)
        told = [(shot, tell(shot.impulse)) for shot in shots if shot.impulse]
        for shot, value in told:
            if value.value is None:
                return Measured(None, words=f"{self.named(shot)}: {value.words}", settled="not_valid")
        found = [(shot, value.value, value) for shot, value in told if value.value is not None]
        shot, worst, value = max(found, key=lambda row: _beyond(row[1], criterion))
        uncertainty, k = self._with_instruments(value, instrument)
        words = f"{self.named(shot)}: {_WORDS[criterion.quantity]} is {spoken(worst, uncertainty)} {unit}."
        if len(found) > 1:
            values = [one for _, one, _ in found]
            limited = criterion.minimum is not None or criterion.maximum is not None
            kind = "the one nearest to its limit is judged" if limited else "the greatest is told"
            words += f" Of {len(values)} impulses, from {min(values):.4g} to {max(values):.4g} {unit}, {kind}."
        return Measured(worst, uncertainty, words, coverage_factor=k, is_value_said=True)

    def _with_instruments(self, value: Value, instrument: str | None) -> tuple[float | None, float]:
        """Return U, None where the instruments' part is not known, and k; a ratio of two readings of one has none."""
        relative = 0.0 if instrument is None else relative_standard_uncertainty(self.setup, instrument, value.value)
        if relative is None and instrument != "time":
            return None, COVERAGE_FACTOR
        return value.with_relative(relative or 0.0)  # of time a remark says that its share is left out

    def named(self, shot: Shot) -> str:
        """Return an impulse in words: by its number where there are several."""
        return "The impulse" if len(self.shots) == 1 else f"Impulse {telling.named(shot)}"

    def _none_to_measure(self, criterion: Criterion) -> Measured:
        failed = next((shot for shot in self.shots if shot.impulse is None), None)
        if failed is not None:
            return Measured(None, words=f"{self.named(failed)}: {failed.why}", settled="not_valid")
        astray = next((shot for shot in self.shots if shot.why), None)
        if any(shot.is_discharge for shot in self.shots):
            words = "A disruptive discharge cut the impulses off, so this could not be read."
            return Measured(None, words=words)
        why = f" {self.named(astray)}: {astray.why}" if astray else ""
        words = f"No record shows an impulse {_asked_for(criterion, self.step)}.{why}"
        return Measured(None, words=words, settled="not_valid")

    def impulses(self, criterion: Criterion) -> Measured:
        """Return how many impulses of a stage count, and which were not counted."""
        stage = self.step.stage(criterion.stage)
        shots = self.at(stage) if stage else [shot for shot in self.shots if shot.is_at_level]
        words = "1 impulse counts" if len(shots) == 1 else f"{len(shots)} impulses count"
        if stage is not None:
            words += f" for the stage “{stage.name}”, {stage.in_words}"
        others = [shot for shot in self.shots if shot not in shots and (stage is None or shot.stage in (None, stage))]
        words += "."
        if others:
            named = "; ".join(f"impulse {shot.number} ({_why_not(shot)})" for shot in others)
            words += f" Not counted: {named}."
        is_enough = criterion.minimum is None or len(shots) >= criterion.minimum
        if not is_enough:
            words += f" At least {criterion.minimum:g} must."
        is_too_many = criterion.maximum is not None and len(shots) > criterion.maximum
        verdict: Verdict = "conforms" if is_enough and not is_too_many else "not_valid"
        return Measured(float(len(shots)), None, words, settled=verdict)

    @cached_property
    def sequences(self) -> Mapping[str, Judged]:
        """What the sequence of each stage of full impulses comes to, by the stage's name."""
        if not self.rounds:
            return {}
        return {
            stage.name: judge_sequence([shot.is_discharge for shot in self.at(stage)], self.rounds)
            for stage in self.step.stages
            if wave_of(stage) == "full"
        }

    def discharges(self, criterion: Criterion) -> Measured:
        """Return the number of disruptive discharges, judged by the sequence where the step states one."""
        shots = [shot for shot in self.shots if shot.is_discharge and criterion.stage in (None, _name(shot))]
        over = [shot for shot in shots if self.is_over(shot)]
        if shots and len(over) == len(shots):
            words = (
                f"{self.named(over[0])} collapsed at {over[0].level_kv:.4g} kV, above what the plan allows at most: "
                "the test may have caused it."
            )
            return Measured(float(len(shots)), None, words, settled="not_valid")
        told = " ".join(self._collapse_in_words(shot) for shot in shots) or "No impulse shows a disruptive discharge."
        judged = [one for name, one in self.sequences.items() if criterion.stage in (None, name)]
        words = " ".join(dict.fromkeys([told, *(one.words for one in judged)]))
        if any(one.outcome == "failed" for one in judged):
            return Measured(float(len(shots)), None, words, settled="does_not_conform")
        unread = next((shot for shot in self.shots if shot.impulse is None), None)
        if unread is not None and not shots:
            return Measured(None, words=f"{self.named(unread)}: {unread.why}", settled="not_valid")
        if any(one.outcome == "more_needed" for one in judged):
            return Measured(float(len(shots)), None, words, settled="inconclusive")
        is_within = criterion.maximum is None or len(shots) <= criterion.maximum
        return Measured(float(len(shots)), None, words, settled="conforms" if is_within else "does_not_conform")

    def is_over(self, shot: Shot, tolerances: float = 1.0) -> bool:
        """Return whether an impulse lies above its stage's level, or the highest, by more than so many tolerances."""
        stages = [shot.stage] if shot.stage else self.step.stages
        highest = max(stage.voltage_kv * (1 + tolerances * stage.tolerance_pct / 100) for stage in stages)
        return shot.level_kv > highest * (1 + 1e-9)

    def _collapse_in_words(self, shot: Shot) -> str:
        tc = shot.impulse.chopping_us.value if shot.impulse else None
        after = f", {tc:.3g} µs after its virtual origin" if tc is not None else ""
        return f"{self.named(shot)} collapsed at {shot.level_kv:.4g} kV{after}: a disruptive discharge."

    def difference(self, criterion: Criterion) -> Measured:
        """Return the greatest difference of the full impulses from the reduced one of their polarity [%]."""
        is_current = criterion.quantity == "current_difference_pct"
        pairs = [(full, reduced) for full in self.shots for reduced in self.shots if _is_pair(full, reduced, criterion)]
        if not pairs:
            return Measured(None, words="No full impulse and reduced impulse of one polarity can be compared.")
        if is_current and any(shot.recording.channel("current_a") is None for pair in pairs for shot in pair):
            return Measured(None, words="The records hold no current, so it could not be compared.")
        found = [(full, reduced, self._compared(full, reduced, is_current=is_current)) for full, reduced in pairs]
        full, reduced, worst = max(found, key=lambda row: row[2].greatest_pct)
        what = "currents" if is_current else "voltages"
        value = spoken(worst.greatest_pct, COVERAGE_FACTOR * worst.noise_pct)
        words = (
            f"Scaled to one test voltage, the {what} of impulse {full.number} (full) and {reduced.number} (reduced) "
            f"differ by at most {value} % of the crest, {worst.at_us:.3g} µs after the origin; "
            f"noise alone makes {worst.noise_pct:.2g} % (standard)."
        )
        return Measured(worst.greatest_pct, COVERAGE_FACTOR * worst.noise_pct, words, is_value_said=True)

    def _compared(self, full: Shot, reduced: Shot, *, is_current: bool) -> Difference:
        traces = []
        for shot in (full, reduced):
            impulse = shot.impulse
            assert impulse is not None
            assert impulse.marks is not None
            level, origin = shot.level_kv, impulse.marks.origin_us
            current = shot.recording.channel("current_a")
            if is_current and current is not None:
                traces.append(current_trace(impulse.recorded, current, origin, level))
            else:
                traces.append(trace_of(impulse.recorded, origin, level))
        return compare(*traces)

    def measure(self, criterion: Criterion) -> Measured:
        """Return what the records say about one criterion's quantity; without a limit it is told, not judged."""
        if criterion.quantity in _OF_IMPULSE:
            return as_told(criterion, self.of_shape(criterion))
        if criterion.quantity == "impulses":
            return self.impulses(criterion)
        if criterion.quantity == "disruptive_discharges":
            return self.discharges(criterion)
        return as_told(criterion, self.difference(criterion))

    def implied(self) -> tuple[Criterion, ...]:
        """Return what is always asked: each stage's level and number, no discharge but what the sequence allows."""
        asked = []
        listed = [criterion for criterion in self.step.criteria if criterion.quantity == "disruptive_discharges"]
        if not listed:
            allowed = max((one.allowed for one in self.sequences.values()), default=0)
            asked.append(Criterion("disruptive_discharges", maximum=allowed, judges="unit", is_implied=True))
        for stage in self.step.stages:
            asked.append(
                Criterion("test_voltage_kv", stage.name, stage.low_kv, stage.high_kv, judges="test", is_implied=True)
            )
            least = float(stage.stated.get("impulses", 1))
            asked.append(Criterion("impulses", stage.name, minimum=least, judges="test", is_implied=True))
        waves = {wave_of(stage) for stage in self.step.stages}
        told = ["front_time_us", *(_ONLY_FULL if waves != {"chopped"} else ())]
        told += _ONLY_CHOPPED if "chopped" in waves else ()
        named = {criterion.quantity for criterion in self.step.criteria}
        asked += [Criterion(one, judges="test", is_implied=True) for one in told if one not in named]
        if any(_is_pair(a, b, asked[0]) for a in self.shots for b in self.shots):
            has_current = all(shot.recording.channel("current_a") is not None for shot in self.shots)
            compared = ["voltage_difference_pct", *(["current_difference_pct"] if has_current else [])]
            asked += [Criterion(one, judges="unit", is_implied=True) for one in compared if one not in named]
        return tuple(asked)

    @property
    def overstressed(self) -> str:
        """A sentence where an impulse went above its stage's level by twice its tolerance, else empty."""
        for shot in self.shots:
            if self.is_over(shot, 2.0):
                most = max(stage.high_kv for stage in self.step.stages)
                return (
                    f"{self.named(shot)} rose to {shot.level_kv:.4g} kV, above the {most:.4g} kV that the plan allows "
                    "at most, which may have harmed the unit."
                )
        return ""


def _name(shot: Shot) -> str | None:
    return shot.stage.name if shot.stage else None


def _beyond(value: float, criterion: Criterion) -> float:
    """Return how far a value lies beyond its nearer limit; without limits the value itself."""
    low, high = criterion.minimum, criterion.maximum
    if low is None and high is None:
        return value
    return max(
        -math.inf if low is None else low - value,
        -math.inf if high is None else value - high,
    )


def _asked_for(criterion: Criterion, step: Step) -> str:
    stage = step.stage(criterion.stage)
    return f"for the stage “{stage.name}”, {stage.in_words}" if stage else "of any stage of the plan"


def _why_not(shot: Shot) -> str:
    file = f"{shot.recording.name}, " if shot.recording.name else ""
    if shot.why or shot.stage is None:
        return file + (shot.why.rstrip(".") or "of no stage")
    side = "below" if shot.level_kv < shot.stage.low_kv else "above"
    return f"{file}{shot.level_kv:.4g} kV, {side} the band"


def _is_pair(full: Shot, reduced: Shot, criterion: Criterion) -> bool:
    if not (full.stage and reduced.stage and full.impulse and reduced.impulse):
        return False
    if (
        wave_of(full.stage) != "full"
        or wave_of(reduced.stage) != "reduced"
        or full.is_discharge
        or reduced.is_discharge
    ):
        return False
    is_asked = criterion.stage in (None, full.stage.name, reduced.stage.name)
    has_marks = full.impulse.marks is not None and reduced.impulse.marks is not None
    return is_asked and has_marks and full.impulse.polarity == reduced.impulse.polarity


def examine(step: Step, recordings: Sequence[Recording], setup: Setup) -> Examination:
    """Return what records of lightning impulses say of their step.

    Parameters
    ----------
    step : Step
        With stages (level, polarity, wave), criteria, and the sequence that accepts.
    recordings : sequence of Recording
        One impulse each, in the order applied.
    setup : Setup
        Instruments for voltage and time.

    Returns
    -------
    Examination
        See `ImpulseTest` for each quantity.

    References
    ----------
    IEC 60060-1:2010 clause 7 and annex B, IEC 60071-1, IEC 62271-1, from memory; see `acceptance` and `parameters`.
    """
    test = ImpulseTest(step, recordings, setup)
    return Examination(
        test.measure,
        test.implied(),
        (),
        telling.events(test.shots),
        (*([test.overstressed] if test.overstressed else []), *telling.remarks(test.shots, setup)),
        test.overstressed,
        details=telling.details(test.shots),
    )
