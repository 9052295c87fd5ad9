"""The voltage that was applied, against the stages that the plan asks: what every high-voltage test has in common."""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np

from records.evaluation.collapse import COARSEST_INTERVAL_S, Collapse, find_collapses
from records.evaluation.findings import FoundStage
from records.evaluation.measured import Measured, expanded, relative_standard_uncertainty, resolution_of, spoken
from records.evaluation.setups import Setup
from records.evaluation.stages import LocatedStage, best_attempt, locate, usual_interval
from records.evaluation.step import Criterion, Stage, Step
from records.readers.recording import Recording

_TRIP_KEYS = frozenset({"trip", "tripped", "source tripped", "breakdown", "flashover", "disruptive discharge"})
_YES, _NO = frozenset({"yes", "true", "1"}), frozenset({"no", "none", "false", "0"})


class AppliedVoltage:
    """Stages, holds and disruptive discharges of one record.

    Parameters
    ----------
    step : Step
        With its stages.
    recording : Recording
        Sound, with ``voltage_kv`` as r.m.s. trend.
    setup : Setup
        For the uncertainty of the instruments, and whether the source tripped.
    resolution_kv : float, optional
        Of the voltage as it was recorded [kV], where the trend was computed from something else.
    unsure : str
        Why a time without samples says nothing of the voltage; then a hold that the record does not show whole is left
        open and not held against the test.
    is_stated : bool
        Whether people stated voltage and times, and no record shows them.
    """

    def __init__(
        self,
        step: Step,
        recording: Recording,
        setup: Setup,
        *,
        resolution_kv: float | None = None,
        unsure: str = "",
        is_stated: bool = False,
    ) -> None:
        self.step, self.unsure, self.is_stated = step, unsure, is_stated
        self.tripped = setup.tripped if setup.tripped is not None else _trip_told(recording)
        self.time_s = recording.time_s
        self.voltage_kv = recording.channels["voltage_kv"]
        self.interval_s = usual_interval(self.time_s)
        self.resolution_kv = resolution_of(self.voltage_kv) if resolution_kv is None else resolution_kv
        self.setup = setup
        self.relative_time = relative_standard_uncertainty(setup, "time") or 0.0
        self.located = locate(self.time_s, self.voltage_kv, step.stages, interval_s=self.interval_s)
        self.all_collapses = find_collapses(self.time_s, self.voltage_kv, step.stages)

    def at(self, stage: Stage) -> LocatedStage | None:
        """Return where one stage lies in the record, or None where it was not reached."""
        return self.located[self.step.stages.index(stage)]

    @property
    def found_stages(self) -> tuple[FoundStage, ...]:
        """Stages that were reached, for the picture."""
        return tuple(
            FoundStage(
                place.stage.name,
                float(self.time_s[place.reached]),
                place.stay.start_s,
                place.stay.end_s,
                place.stay.held_s,
                self._level(place),
            )
            for place in self.located
            if place
        )

    @cached_property
    def completed_s(self) -> float:
        """Time at which the last hold was complete [s]; infinite where some hold was not."""
        if not all(place and place.stay.held_s >= place.stage.hold_s for place in self.located):
            return math.inf
        last = self.located[-1]
        return last.stay.start_s + last.stage.hold_s - self.interval_s if last else math.inf

    @cached_property
    def collapses(self) -> tuple[Collapse, ...]:
        """Disruptive discharges before the last hold was complete."""
        return tuple(collapse for collapse in self.all_collapses if collapse.time_s < self.completed_s)

    @property
    def highest_allowed_kv(self) -> float:
        """Upper edge of the highest stage's band [kV]."""
        return max(stage.high_kv for stage in self.step.stages)

    @cached_property
    def overstressed(self) -> str:
        """A sentence where three samples in a row exceed the highest set point by twice its tolerance, else empty."""
        top = max(self.step.stages, key=lambda stage: stage.high_kv)
        over = self.voltage_kv > top.voltage_kv * (1 + 2 * top.tolerance_pct / 100)
        if np.count_nonzero(over) < 3 or not (over[:-2] & over[1:-1] & over[2:]).any():
            return ""
        return (
            f"The voltage rose to {self.voltage_kv[over].max():.4g} kV, above the "
            f"{self.highest_allowed_kv:.4g} kV that the plan allows at most, which may have harmed the unit."
        )

    def _level(self, place: LocatedStage) -> float:
        return float(np.mean(self.voltage_kv[place.stay.first : place.stay.last + 1]))

    def shown(self, stage: Stage) -> str:
        """Return what the record shows of one stage and what the plan asks, in a sentence."""
        place = self.at(stage)
        if place:
            level, held = self._level(place), place.stay.held_s
        else:
            level, held = best_attempt(self.time_s, self.voltage_kv, stage)
        level_text, held_text = spoken(level, self.uncertainty_of(level)), spoken(held, self.uncertainty_of_time(held))
        shown = f"The record shows {level_text} kV for {held_text} s; the plan asks {stage.in_words}."
        if place and place.stay.last == len(self.time_s) - 1 and held < stage.hold_s:
            shown += " The record ends during the hold."
        if not place:
            shown += self._why_not_reached(stage)
        if held < stage.hold_s and self.voltage_kv.max() > self.highest_allowed_kv:
            shown += f" The voltage rose to {self.voltage_kv.max():.4g} kV."
        return shown

    def _why_not_reached(self, stage: Stage) -> str:
        if float(self.voltage_kv.max()) > stage.high_kv:
            return f" The stage “{stage.name}” was not reached in its place in the order of the plan."
        return f" The stage “{stage.name}” was never reached."

    def uncertainty_of(self, voltage_kv: float) -> float | None:
        """Return U at k = 2 of one voltage [kV]; None where no instrument is stated."""
        relative = relative_standard_uncertainty(self.setup, "voltage", voltage_kv)
        return expanded(voltage_kv, relative, self.resolution_kv / math.sqrt(12))

    @cached_property
    def u_reading_kv(self) -> float:
        """Standard uncertainty of a single reading from noise and rounding [kV]: noise from how readings bend."""
        bends = np.diff(self.voltage_kv, 2)
        noise = float(np.median(np.abs(bends))) / (0.6745 * math.sqrt(6)) if len(bends) else 0.0
        return max(noise, self.resolution_kv / math.sqrt(12))

    def uncertainty_of_time(self, duration_s: float) -> float:
        """Return U at k = 2 of a duration [s]: each end lies anywhere within one sample interval."""
        return 2 * math.hypot(self.interval_s / math.sqrt(6), duration_s * self.relative_time)

    def held_voltage(self, stage: Stage) -> Measured:
        """Return the mean voltage over the hold [kV], or the level of the best attempt."""
        place = self.at(stage)
        if not place and self.unsure:
            return Measured(None, words=f"{self.shown(stage)} {self.unsure}")
        level = self._level(place) if place else best_attempt(self.time_s, self.voltage_kv, stage)[0]
        if not place and stage.low_kv <= level <= stage.high_kv:
            return Measured(None, words=self.shown(stage), settled="not_valid")
        return Measured(level, self.uncertainty_of(level), self.shown(stage), is_value_said=True)

    def held_s(self, stage: Stage) -> Measured:
        """Return the longest unbroken stay in the band [s]; 0 where the stage was not reached."""
        place = self.at(stage)
        held = place.stay.held_s if place else 0.0
        if self.unsure and held < stage.hold_s:
            return Measured(None, words=f"{self.shown(stage)} {self.unsure}", at_least=held)
        return Measured(held, self.uncertainty_of_time(held), self.shown(stage), is_value_said=True)

    def disruptive_discharges(self) -> Measured:
        """Return the number of disruptive discharges before the last hold was complete."""
        if not self.collapses:
            return self._none_seen()
        first = self.collapses[0]
        words = (
            f"The voltage collapsed from {first.from_kv:.4g} kV to {first.to_kv:.4g} kV at {first.time_s:.6g} s, "
            "before the last hold was complete: a disruptive discharge."
        )
        if all(collapse.from_kv > self.highest_allowed_kv for collapse in self.collapses):
            words += f" It came above the {self.highest_allowed_kv:.4g} kV that the plan allows at most."
            return Measured(float(len(self.collapses)), None, words, settled="not_valid")
        return Measured(float(len(self.collapses)), None, words, settled="does_not_conform")

    def _none_seen(self) -> Measured:
        """Return that the record shows no disruptive discharge, or why it cannot tell."""
        if self.tripped:
            words = (
                "It is stated that the source tripped, and the record shows no disruptive discharge. Find out which is "
                "right."
            )
            return Measured(None, words=words, settled="inconclusive")
        if self.is_stated:
            return Measured(0.0, None, "The set-up states the stages as held.", settled="conforms")
        is_whole = math.isfinite(self.completed_s)
        if self.tripped is False and is_whole:
            words = "The record shows no disruptive discharge."
            if self.interval_s > COARSEST_INTERVAL_S:
                words += (
                    f" Its samples are {self.interval_s:.3g} s apart, too far to tell; it is stated that the source "
                    "did not trip."
                )
            return Measured(0.0, None, words, settled="conforms")
        if self.interval_s > COARSEST_INTERVAL_S:
            words = (
                f"The samples are {self.interval_s:.3g} s apart, too far to tell a disruptive discharge from a "
                "ramp-down. State in the set-up whether the source tripped, or record at least every "
                f"{COARSEST_INTERVAL_S:g} s."
            )
            return Measured(None, words=words, settled="inconclusive")
        if self.unsure and not is_whole:
            return Measured(None, words=self.unsure, settled="inconclusive")
        return Measured(0.0, None, "The record shows no disruptive discharge.", settled="conforms")

    def measure(self, criterion: Criterion, default: Stage) -> Measured | None:
        """Return one quantity of the voltage, or None where it is not one."""
        stage = self.step.stage(criterion.stage) or default
        if criterion.quantity == "held_voltage_kv":
            return self.held_voltage(stage)
        if criterion.quantity == "held_s":
            return self.held_s(stage)
        if criterion.quantity == "disruptive_discharges":
            measured = self.disruptive_discharges()
            if criterion.maximum is not None and criterion.maximum >= 1:
                return Measured(measured.value, None, measured.words)
            return measured
        return None

    def implied(self) -> tuple[Criterion, ...]:
        """Return what the standards always ask: each stage reached and held, and no disruptive discharge."""
        return implied_of_voltage(self.step)

    def remarks(self) -> tuple[str, ...]:
        """Return what a reviewer should know of the voltage and no criterion asks."""
        said = [self.overstressed] if self.overstressed else []
        later = [collapse for collapse in self.all_collapses if collapse not in self.collapses]
        if later:
            said.append(
                f"The voltage fell away at {later[0].time_s:.6g} s, after the last hold was complete; "
                "that is not judged."
            )
        return tuple(said)


def implied_of_voltage(step: Step) -> tuple[Criterion, ...]:
    """Return what the standards always ask of an applied voltage: stages reached and held, no disruptive discharge."""
    # Listed for one stage it is asked of the whole record all the same, so it is not asked a second time.
    is_listed = any((c.quantity, c.maximum, c.judges) == ("disruptive_discharges", 0, "unit") for c in step.criteria)
    asked = [] if is_listed else [Criterion("disruptive_discharges", maximum=0, judges="unit", is_implied=True)]
    for stage in step.stages:
        asked.append(
            Criterion("held_voltage_kv", stage.name, stage.low_kv, stage.high_kv, judges="test", is_implied=True)
        )
        asked.append(Criterion("held_s", stage.name, stage.hold_s, judges="test", is_implied=True))
    return tuple(asked)


def _trip_told(recording: Recording) -> bool | None:
    """Return what the lines before the heads say of a trip: true, false, or None where they say nothing clear."""
    for key, value in recording.metadata.items():
        if key.strip().casefold() in _TRIP_KEYS:
            said = value.strip().casefold()
            return True if said in _YES else False if said in _NO else None
    return None
