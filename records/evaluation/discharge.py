"""Partial discharge from a detector's time record: noise, inception, extinction and apparent charge."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cached_property

import numpy as np

from records.evaluation.applied import AppliedVoltage
from records.evaluation.examination import Examination
from records.evaluation.findings import Event
from records.evaluation.measured import Measured, expanded, relative_standard_uncertainty, resolution_of
from records.evaluation.setups import Setup
from records.evaluation.step import Criterion, Stage, Step
from records.readers.recording import Recording

WINDOW_S = 10.0
_IN_A_ROW = 3
# Told of every discharge record, judged only where the procedure sets a limit.
_ALWAYS_TOLD = ("inception_voltage_kv", "extinction_voltage_kv", "time_to_extinction_s")
_LEAST_SHARE, _GREATEST_SHARE = 0.5, 2.0  # of the limit: IEC 60270 clause 5, from memory


class DischargeRecord:
    """One detector's record against one discharge step; the definitions are those of the design, section 6.

    Parameters
    ----------
    step : Step
        With its stages, threshold and criteria.
    recording : Recording
        Sound, with ``voltage_kv`` and ``charge_pc``.
    setup : Setup
        Noise, scale factor and instruments. The scale factor multiplies the record's charge; noise that the set-up
        states is in pC already.
    """

    def __init__(self, step: Step, recording: Recording, setup: Setup) -> None:
        self.step, self.setup = step, setup
        self.applied = AppliedVoltage(step, recording, setup)
        self.time_s, self.voltage_kv = self.applied.time_s, self.applied.voltage_kv
        as_read, factor = np.abs(recording.channels["charge_pc"]), setup.scale_factor or 1.0
        self.charge_pc = as_read * factor
        self.resolution_pc = resolution_of(as_read) * factor
        self.relative = relative_standard_uncertainty(setup, "charge")

    @cached_property
    def limit_pc(self) -> float | None:
        """The lowest limit of apparent charge in the procedure [pC]; else its threshold."""
        limits = [
            criterion.maximum
            for criterion in self.step.criteria
            if criterion.quantity == "apparent_charge_pc" and criterion.maximum is not None
        ]
        return min(limits, default=self.step.threshold_pc)

    @cached_property
    def measuring(self) -> Stage:
        """The stage in which charge is judged: the one its criterion names, else ``measurement``, else the last."""
        named = [c.stage for c in self.step.criteria if c.quantity == "apparent_charge_pc" and c.stage]
        return self.step.stage(named[-1] if named else "measurement") or self.step.stages[-1]

    @cached_property
    def quiet_samples(self) -> int:
        """Number of samples before the voltage first passes a tenth of the first set point."""
        passed = self.voltage_kv >= 0.1 * self.step.stages[0].voltage_kv
        return int(np.argmax(passed)) if passed.any() else 0

    @cached_property
    def noise_pc(self) -> float | None:
        """Background noise [pC]: what the set-up states, else the 95th percentile before the voltage was raised."""
        if self.setup.background_noise_pc is not None:
            return self.setup.background_noise_pc
        quiet = self.charge_pc[: self.quiet_samples]
        return float(np.percentile(quiet, 95)) if len(quiet) else None

    @cached_property
    def threshold_pc(self) -> float | None:
        """Charge above which discharges count [pC]: the greater of twice the noise and the procedure's threshold."""
        if self.noise_pc is None:
            return None
        return max(2 * self.noise_pc, self.step.threshold_pc or 0.0)

    def _u_charge(self, charge_pc: float) -> float | None:
        return expanded(charge_pc, self.relative, self.resolution_pc / math.sqrt(12))

    def noise(self) -> Measured:
        """Return the background noise [pC]."""
        if self.noise_pc is None:
            return Measured(
                None,
                words="The set-up states no background noise, and the record has no charge before the voltage passes a "
                "tenth of the first set point: the noise is not known. State it in the set-up.",
            )
        if self.setup.background_noise_pc is not None:
            return Measured(self.noise_pc, self._u_charge(self.noise_pc), "The set-up states the background noise.")
        words = f"The noise was read from the {self.quiet_samples} samples before the voltage was raised."
        return Measured(self.noise_pc, self._u_charge(self.noise_pc), words)

    def _first_reach(self) -> int:
        """Return the last index of the way up to the first stage."""
        first = self.applied.located[0]
        return first.reached if first else int(np.argmax(self.voltage_kv))

    @cached_property
    def inception(self) -> int | None:
        """Index of the first of three samples in a row over the threshold, on the way up to the first stage."""
        if self.threshold_pc is None or len(self.charge_pc) < _IN_A_ROW:
            return None
        over = self.charge_pc > self.threshold_pc
        three = over[:-2] & over[1:-1] & over[2:]
        way_up = three[: self._first_reach() + 1]
        return int(np.argmax(way_up)) if way_up.any() else None

    def inception_voltage(self) -> Measured:
        """Return the inception voltage [kV]; where none was seen, that it lies above the highest voltage of the way."""
        if self.threshold_pc is None:
            return self._no_threshold()
        if self.inception is None:
            highest = float(self.voltage_kv[self._first_reach()])
            words = f"No discharge above {self.threshold_pc:.4g} pC was seen on the way up to {highest:.4g} kV."
            return Measured(None, words=words, at_least=highest)
        voltage = float(self.voltage_kv[self.inception])
        words = (
            f"Discharges first passed {self.threshold_pc:.4g} pC at {voltage:.4g} kV, "
            f"{self.time_s[self.inception]:.6g} s into the record."
        )
        return Measured(voltage, self.applied.uncertainty_of(voltage), words)

    def _no_threshold(self) -> Measured:
        return Measured(None, words="The background noise is not known, so the threshold of discharges is not either.")

    def _not_reached(self, stage: Stage) -> Measured:
        return Measured(None, words=f"The stage “{stage.name}” was not reached.")

    def _hold(self, stage: Stage) -> slice | None:
        """Return the samples of the required hold of a stage, or of its stay where that is shorter."""
        place = self.applied.at(stage)
        if place is None:
            return None
        end = int(np.searchsorted(self.time_s, place.stay.start_s + stage.hold_s * (1 + 1e-9), side="right"))
        return slice(place.stay.first, min(max(end, place.stay.first + 1), place.stay.last + 1))

    @cached_property
    def extinction(self) -> int | None:
        """Index of the first sample, on the way down, from which charge stays at or below the threshold; else None."""
        span = self._way_down()
        if span is None or self.threshold_pc is None:
            return None
        over = np.flatnonzero(self.charge_pc[span] > self.threshold_pc)
        if not len(over) or over[-1] + 1 >= span.stop - span.start:
            return None
        return span.start + int(over[-1]) + 1

    def _way_down(self) -> slice | None:
        """Return the samples from the end of the first stage to the end of the measuring hold."""
        hold = self._hold(self.measuring)
        first = self.applied.located[0]
        if hold is None:
            return None
        if first is None or first.stage is self.measuring:
            return hold
        return slice(first.stay.last, hold.stop)

    def extinction_voltage(self) -> Measured:
        """Return the extinction voltage [kV], or the side on which it lies where it was not seen."""
        span = self._way_down()
        if self.threshold_pc is None:
            return self._no_threshold()
        if span is None:
            return self._not_reached(self.measuring)
        threshold = f"{self.threshold_pc:.4g} pC"
        if self.extinction is not None:
            voltage = float(self.voltage_kv[self.extinction])
            words = (
                f"Discharges stayed at or below {threshold} from {voltage:.4g} kV on, "
                f"{self.time_s[self.extinction]:.6g} s into the record."
            )
            return Measured(voltage, self.applied.uncertainty_of(voltage), words)
        lowest, highest = float(self.voltage_kv[span].min()), float(self.voltage_kv[span].max())
        if (self.charge_pc[span] > self.threshold_pc).any():
            words = f"Discharges above {threshold} went on at {lowest:.4g} kV until the end of the hold."
            return Measured(None, words=words, at_most=lowest)
        words = f"No discharge above {threshold} was left when the voltage was lowered from {highest:.4g} kV."
        return Measured(None, words=words, at_least=highest)

    def time_to_extinction(self, stage: Stage) -> Measured:
        """Return the time from reaching a stage until charge keeps the limit for the rest of the hold [s]."""
        hold, place, limit = self._hold(stage), self.applied.at(stage), self.limit_pc
        if hold is None or place is None:
            return self._not_reached(stage)
        if limit is None:
            return Measured(None, words="The procedure names neither a limit of charge nor a threshold.")
        span = slice(min(place.reached, hold.start), hold.stop)
        over = np.flatnonzero(self.charge_pc[span] > limit)
        if not len(over):
            return Measured(0.0, self.applied.uncertainty_of_time(0.0), f"The charge stayed at or below {limit:g} pC.")
        start_s = float(self.time_s[span.start])
        index = span.start + int(over[-1]) + 1
        if index >= span.stop:
            passed = float(self.time_s[span.stop - 1]) - start_s
            words = f"The charge was still above {limit:g} pC at the end of the hold, {passed:.4g} s after reaching it."
            return Measured(None, words=words, at_least=max(passed, stage.hold_s))
        passed = float(self.time_s[index]) - start_s
        words = (
            f"The charge stayed at or below {limit:g} pC from {passed:.4g} s after reaching {stage.voltage_kv:g} kV."
        )
        return Measured(passed, self.applied.uncertainty_of_time(passed), words)

    def apparent_charge(self, stage: Stage, window_s: float | None) -> Measured:
        """Return the greatest charge over the last seconds of a stage's hold [pC]."""
        hold = self._hold(stage)
        if hold is None:
            return self._not_reached(stage)
        window = window_s or self.step.window_s or WINDOW_S
        times, charges = self.time_s[hold], self.charge_pc[hold]
        inside = times >= times[-1] - window * (1 + 1e-9)
        charge = float(charges[inside].max())
        words = (
            f"The greatest charge over the last {window:g} s of the hold at {stage.voltage_kv:g} kV "
            f"was {charge:.4g} pC."
        )
        return Measured(charge, self._u_charge(charge), words)

    def scale_factor(self) -> Measured:
        """Return the scale factor k, not valid where the injected charge lies outside 50 to 200 % of the limit."""
        factor, injected, limit = self.setup.scale_factor, self.setup.injected_pc, self.limit_pc
        if factor is None or injected is None:
            return Measured(None, words="The set-up states no charge calibration.")
        words = f"{injected:g} pC injected read {self.setup.reading:g}: the scale factor is {factor:.4g}."
        u_factor = None if self.relative is None else 2 * factor * self.relative
        if limit is not None and not _LEAST_SHARE * limit <= injected <= _GREATEST_SHARE * limit:
            words += (
                f" The injected charge must lie between {_LEAST_SHARE * limit:g} and {_GREATEST_SHARE * limit:g} pC, "
                f"50 to 200 % of the limit of {limit:g} pC."
            )
            return Measured(factor, u_factor, words, settled="not_valid")
        return Measured(factor, u_factor, words)

    def measure(self, criterion: Criterion) -> Measured:
        """Return what the record says about one criterion's quantity; without a limit it is told, not judged."""
        measured = self._measure(criterion)
        is_told = criterion.is_implied and criterion.minimum is None and criterion.maximum is None
        if is_told and measured.settled is None:
            return replace(measured, settled="conforms")
        return measured

    def _measure(self, criterion: Criterion) -> Measured:
        stage = self.step.stage(criterion.stage) or self.measuring
        of_voltage = self.applied.measure(criterion, stage)
        if of_voltage is not None:
            return of_voltage
        match criterion.quantity:
            case "inception_voltage_kv":
                return self.inception_voltage()
            case "extinction_voltage_kv":
                return self.extinction_voltage()
            case "time_to_extinction_s":
                return self.time_to_extinction(stage)
            case "apparent_charge_pc":
                return self.apparent_charge(stage, criterion.window_s)
            case "background_noise_pc":
                return self.noise()
            case _:
                return self.scale_factor()

    def implied(self) -> tuple[Criterion, ...]:
        """Return what the standards always ask of a discharge test, listed or not."""
        asked = list(self.applied.implied())
        if self.limit_pc is not None:
            asked.append(Criterion("background_noise_pc", maximum=self.limit_pc / 2, judges="test", is_implied=True))
        if self.setup.scale_factor is not None:
            asked.append(Criterion("charge_scale_factor", judges="test", is_implied=True))
        listed = {criterion.quantity for criterion in self.step.criteria}
        asked += [Criterion(told, judges="unit", is_implied=True) for told in _ALWAYS_TOLD if told not in listed]
        return tuple(asked)

    def events(self) -> tuple[Event, ...]:
        """Return inception, extinction and disruptive discharges in order of time."""
        events = [Event("disruptive_discharge", c.time_s, c.from_kv) for c in self.applied.collapses]
        for name, index in (("inception", self.inception), ("extinction", self.extinction)):
            if index is not None:
                events.append(Event(name, float(self.time_s[index]), float(self.voltage_kv[index])))
        return tuple(sorted(events, key=lambda event: event.time_s))


def examine(step: Step, recording: Recording, setup: Setup) -> Examination:
    """Return what a detector's record says of a partial-discharge test.

    Parameters
    ----------
    step : Step
        With stages, threshold and criteria.
    recording : Recording
        Sound, with ``voltage_kv`` (r.m.s. trend) and ``charge_pc`` (the detector's own reading).
    setup : Setup
        Noise, scale factor and instruments.

    Returns
    -------
    Examination
        See `DischargeRecord` for each quantity.

    References
    ----------
    IEC 60270:2000 with AMD1:2015, clauses 3 to 5, from memory; the design, section 6.
    """
    record = DischargeRecord(step, recording, setup)
    remarks = list(record.applied.remarks())
    if setup.scale_factor is None:
        remarks.append("The set-up states no charge calibration; the charge is taken as the record states it.")
    return Examination(
        record.measure,
        record.implied(),
        record.applied.found_stages,
        record.events(),
        tuple(remarks),
        record.applied.overstressed,
    )
