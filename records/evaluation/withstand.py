"""Power-frequency withstand: each voltage reached, held for its time, and no disruptive discharge on the way."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property

import numpy as np

from records.evaluation.applied import AppliedVoltage
from records.evaluation.examination import Examination, NotExaminable
from records.evaluation.findings import Event
from records.evaluation.measured import Measured, expanded, relative_standard_uncertainty, resolution_of
from records.evaluation.setups import Setup
from records.evaluation.step import Criterion, Stage, Step
from records.evaluation.thinning import thinned_trend
from records.evaluation.usual import USUAL
from records.evaluation.waveform import NotAWave, WaveCutOff, WaveShape, WaveTrend, changes_sign, shape_of, trend_of
from records.readers.recording import Recording

_CREST_LOW, _CREST_HIGH = (share * math.sqrt(2) for share in USUAL["crest_over_sine"].bounds)
# Least and greatest of what the shape of the voltage must keep.
SHAPE_LIMITS: Mapping[str, tuple[float | None, float | None]] = {
    "frequency_hz": (USUAL["frequency_hz"].low, USUAL["frequency_hz"].high),
    "crest_factor": (_CREST_LOW, _CREST_HIGH),
    "polarity_difference_pct": (None, USUAL["polarity_difference_pct"].high),
}
# Told where the record shows it, judged only where the procedure sets a limit.
_TOLD = ("total_harmonic_distortion_pct", "ramp_rate_pct_per_s", "voltage_drop_pct")
_RAMP_FROM = USUAL["ramp_from_share"].value


class WithstandRecord:
    """A trend or a wave against a withstand step.

    Parameters
    ----------
    step : Step
        With one stage or more.
    recording : Recording
        Sound, with ``voltage_kv`` as r.m.s. trend or as wave: which, its signs tell.
    setup : Setup
        For the uncertainty of the instruments.

    Raises
    ------
    NotExaminable
        The voltage changes sign and yet shows no wave that can be measured.
    """

    def __init__(self, step: Step, recording: Recording, setup: Setup) -> None:
        self.step, self.recording, self.setup = step, recording, setup
        voltage = recording.channels["voltage_kv"]
        self.wave: WaveTrend | None = None
        if changes_sign(voltage):
            self.wave = _wave_of(recording)
            trend = Recording(self.wave.time_s, {"voltage_kv": self.wave.voltage_kv}, recording.metadata)
            resolution = resolution_of(voltage) / math.sqrt(2)
            self.applied = AppliedVoltage(step, trend, setup, resolution_kv=resolution)
        else:
            self.applied = AppliedVoltage(step, recording, setup)

    @cached_property
    def shapes(self) -> dict[str, WaveShape]:
        """Shape of the wave over each stage's hold, by the stage's name."""
        found: dict[str, WaveShape] = {}
        for stage in self.step.stages:
            place = self.applied.at(stage)
            if place is None or self.wave is None:
                continue
            try:
                found[stage.name] = shape_of(
                    self.recording.time_s,
                    self.recording.channels["voltage_kv"],
                    self.wave,
                    place.stay.start_s,
                    place.stay.end_s,
                )
            except NotAWave:
                continue
        return found

    def measure(self, criterion: Criterion) -> Measured:
        """Return what the record says about one criterion's quantity; without a limit it is told, not judged."""
        measured = self._measure(criterion)
        is_told = criterion.is_implied and criterion.minimum is None and criterion.maximum is None
        return replace(measured, settled="conforms") if is_told and measured.settled is None else measured

    def _measure(self, criterion: Criterion) -> Measured:
        stage = self.step.stage(criterion.stage) or self.step.stages[-1]
        of_voltage = self.applied.measure(criterion, stage)
        if of_voltage is not None:
            return of_voltage
        if criterion.quantity == "ramp_rate_pct_per_s":
            return self._ramp(self.step.stage(criterion.stage) or self.step.stages[0])
        if criterion.quantity == "voltage_drop_pct":
            return self._drop(stage)
        return self._shape(criterion.quantity, stage)

    def _shape(self, quantity: str, stage: Stage) -> Measured:
        if self.wave is None:
            words = "The record is an r.m.s. trend and does not show the wave. Record the wave to have this judged."
            return Measured(None, words=words)
        shape = self.shapes.get(stage.name)
        if shape is None:
            return Measured(None, words=f"The stage “{stage.name}” was not reached, so its wave is not known.")
        relative = relative_standard_uncertainty(self.setup, "time" if quantity == "frequency_hz" else "voltage")
        value = float(getattr(shape, quantity))
        # A ratio of two readings of one instrument does not carry that instrument's uncertainty of scale.
        of_scale = relative if quantity == "frequency_hz" and relative is not None else 0.0
        uncertainty = expanded(value, of_scale, shape.uncertainties[quantity])
        return Measured(value, uncertainty, f"Over {shape.periods:.0f} periods of the hold at {stage.voltage_kv:g} kV.")

    def _ramp(self, stage: Stage) -> Measured:
        """Return the mean rate from 75 % of the set point to its band, relative to the set point [%/s]."""
        place = self.applied.at(stage)
        if place is None:
            return Measured(None, words=f"The stage “{stage.name}” was not reached.")
        times, volts = self.applied.time_s[: place.reached + 1], self.applied.voltage_kv[: place.reached + 1]
        below = np.flatnonzero(volts < _RAMP_FROM * stage.voltage_kv)
        if not len(below) or below[-1] + 1 >= place.reached:
            words = "The record does not show the voltage rising from 75 % of the set point."
            return Measured(None, words=words)
        first = int(below[-1])
        risen_kv, taken_s = float(volts[-1] - volts[first]), float(times[-1] - times[first])
        rate = 100 * risen_kv / stage.voltage_kv / taken_s
        # Each end is known to a step of the voltage, and to a sample in time, as the corners of the ramp are.
        by_steps = math.sqrt(2) * self.applied.u_reading_kv / risen_kv
        by_time = math.hypot(self.applied.interval_s / math.sqrt(6) / taken_s, self.applied.relative_time)
        of_scale = relative_standard_uncertainty(self.setup, "voltage", stage.voltage_kv)
        uncertainty = expanded(rate, of_scale, rate * by_steps, rate * by_time)
        return Measured(rate, uncertainty, f"From 75 % of {stage.voltage_kv:g} kV to the set point, mean rate.")

    def _drop(self, stage: Stage) -> Measured:
        """Return by how much the voltage fell at most below the mean of the hold [%], before it left the band for good.

        A dip counts; the lowering after a hold that was cut short, and a collapse, are no drop of the source.
        """
        place = self.applied.at(stage)
        if place is None:
            return Measured(None, words=f"The stage “{stage.name}” was not reached.")
        end = int(np.searchsorted(self.applied.time_s, place.stay.start_s + stage.hold_s, side="right"))
        during = self.applied.voltage_kv[place.stay.first : max(end, place.stay.first + 1)]
        last = int(np.flatnonzero((during >= stage.low_kv) & (during <= stage.high_kv))[-1])
        during = during[: last + 1]
        level = float(np.mean(self.applied.voltage_kv[place.stay.first : place.stay.last + 1]))
        drop = 100 * (1 - float(during.min()) / level)
        # The scale of the instrument cancels; the least reading has its own noise and rounding.
        uncertainty = expanded(drop, 0.0, 100 * self.applied.u_reading_kv / level)
        return Measured(drop, uncertainty, f"Greatest fall below the mean of the hold at {stage.voltage_kv:g} kV.")

    def implied(self) -> tuple[Criterion, ...]:
        """Return what the standards always ask, and what is told: of a wave its shape over the last stage's hold."""
        asked = list(self.applied.implied())
        listed = {criterion.quantity for criterion in self.step.criteria}
        reached = [stage.name for stage in self.step.stages if stage.name in self.shapes]
        for name, (low, high) in SHAPE_LIMITS.items():
            if name not in listed and self.wave is not None:
                asked += [Criterion(name, stage, low, high, judges="test", is_implied=True) for stage in reached]
        told = [Criterion(name, judges="test", is_implied=True) for name in _TOLD if name not in listed]
        return (*asked, *(criterion for criterion in told if self._measure(criterion).value is not None))

    def remarks(self) -> tuple[str, ...]:
        """Return how the voltage was read where the record is a wave, and what a reviewer should know."""
        if self.wave is None:
            return self.applied.remarks()
        said = (
            f"The voltage changes sign, so the record is a wave, of {self.wave.frequency_hz:.4g} Hz; its voltage is "
            "peak/√2 of each period, the mean of both polarities."
        )
        return (said, *self.applied.remarks())


def _wave_of(recording: Recording) -> WaveTrend:
    try:
        return trend_of(recording.time_s, recording.channels["voltage_kv"])
    except WaveCutOff as fault:
        raise NotExaminable(str(fault)) from fault
    except NotAWave as fault:
        raise NotExaminable(f"The voltage changes sign, so it is a wave and no r.m.s. trend. {fault}") from fault


def examine(step: Step, recording: Recording, setup: Setup) -> Examination:
    """Return what a record says of a power-frequency withstand test.

    Parameters
    ----------
    step : Step
        With one stage or more.
    recording : Recording
        Sound, with ``voltage_kv`` as r.m.s. trend or as wave.
    setup : Setup
        For the uncertainty of the instruments.

    Returns
    -------
    Examination
        Held voltage [kV] and time [s] of each stage, the number of disruptive discharges, ramp and drop; of a wave also
        frequency, crest factor, agreement of the polarities and distortion.

    Raises
    ------
    NotExaminable
        The voltage changes sign and yet shows no wave that can be measured, or its crests are cut off.

    References
    ----------
    IEC 60060-1:2010 clause 6, from memory.
    """
    record = WithstandRecord(step, recording, setup)
    applied = record.applied
    events = tuple(Event("disruptive_discharge", c.time_s, c.from_kv) for c in applied.collapses)
    details = {"trend": thinned_trend(applied.time_s, applied.voltage_kv)} if record.wave is not None else {}
    return Examination(
        record.measure,
        record.implied(),
        applied.found_stages,
        events,
        record.remarks(),
        applied.overstressed,
        details,
    )
