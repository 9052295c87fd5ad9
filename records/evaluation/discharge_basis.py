"""What every discharge test has in common, whether a detector's reading or a list of pulses was recorded."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import replace
from functools import cached_property

import numpy as np

from records.evaluation.applied import AppliedVoltage
from records.evaluation.clipping import range_end
from records.evaluation.findings import Event
from records.evaluation.measured import Measured, relative_standard_uncertainty, spoken
from records.evaluation.quantities import QUANTITIES
from records.evaluation.setups import Setup
from records.evaluation.step import Criterion, Stage, Step
from records.evaluation.usual import USUAL
from records.readers.recording import Samples

WINDOW_S = USUAL["charge_window_s"].value
# Told of every discharge record, judged only where the procedure sets a limit.
_ALWAYS_TOLD = ("inception_voltage_kv", "extinction_voltage_kv", "time_to_extinction_s")
_NOISE_SHARE = USUAL["background_noise_share"].bounds[1]
_SILENCE_S = 1.0
_SLACK = 1e-9  # relative: rounding must not push a charge out of its bounds


def limit_of(step: Step) -> float | None:
    """Return the lowest limit of apparent charge in the procedure [pC]; else its threshold, or None."""
    limits = [c.maximum for c in step.criteria if c.quantity == "apparent_charge_pc" and c.maximum is not None]
    return min(limits, default=step.threshold_pc)


def measuring_stage(step: Step) -> Stage:
    """Return the stage in which charge is judged: the one its criterion names, else ``measurement``, else the last."""
    named = [c.stage for c in step.criteria if c.quantity == "apparent_charge_pc" and c.stage]
    return step.stage(named[-1] if named else "measurement") or step.stages[-1]


def implied_of_charge(step: Step, setup: Setup, told: tuple[str, ...]) -> tuple[Criterion, ...]:
    """Return what the standards always ask of a discharge circuit, and what is told of every record."""
    asked, limit = [], limit_of(step)
    if limit is not None:
        asked.append(Criterion("background_noise_pc", maximum=_NOISE_SHARE * limit, judges="test", is_implied=True))
    if setup.scale_factor is not None:
        asked.append(Criterion("charge_scale_factor", judges="test", is_implied=True))
    listed = {criterion.quantity for criterion in step.criteria}
    asked += [Criterion(n, judges=QUANTITIES[n].judges, is_implied=True) for n in told if n not in listed]
    return tuple(asked)


def injected_bounds(step: Step, limit_pc: float | None) -> tuple[float, float]:
    """Return between which charges the circuit must have been calibrated [pC].

    As the set-up checks of the step say; where it carries none, the usual shares of the limit; infinite without either.
    """
    checks = [row for row in step.stated.get("setup_checks", ()) if row["quantity"] == "injected_charge_pc"]
    if checks:
        lows, highs = ([row[key] for row in checks if key in row] for key in ("min", "max"))
        return max(lows, default=0.0), min(highs, default=math.inf)
    if limit_pc is None:
        return 0.0, math.inf
    low, high = USUAL["injected_charge_share"].bounds
    return low * limit_pc, high * limit_pc


def _between(low_pc: float, high_pc: float) -> str:
    return f"between {low_pc:g} and {high_pc:g} pC" if math.isfinite(high_pc) else f"at {low_pc:g} pC or above"


def scale_factor_of(step: Step, setup: Setup) -> Measured:
    """Return the scale factor k, not valid where the injected charge lies outside `injected_bounds`."""
    factor, injected, limit = setup.scale_factor, setup.injected_pc, limit_of(step)
    if factor is None or injected is None:
        return Measured(None, words="The set-up states no charge calibration.")
    relative = relative_standard_uncertainty(setup, "charge")
    u_factor = None if relative is None else 2 * factor * relative
    words = f"{injected:g} pC injected read {setup.reading:g}: the scale factor is {spoken(factor, u_factor)}."
    if setup.last_scale_factor is not None:
        change = 100 * (factor / setup.last_scale_factor - 1)
        words += f" The last one was {setup.last_scale_factor:.4g}: it drifted by {change:+.2g} %."
    low, high = injected_bounds(step, limit)
    if not low * (1 - _SLACK) <= injected <= high * (1 + _SLACK):
        shares = (
            f", {100 * low / limit:.3g} to {100 * high / limit:.3g} % of the limit of {limit:g} pC" if limit else ""
        )
        words += f" The injected charge must lie {_between(low, high)}{shares}."
        return Measured(factor, u_factor, words, settled="not_valid", is_value_said=True)
    return Measured(factor, u_factor, words, is_value_said=True)


class DischargeBasis(ABC):
    """One record against one discharge step; the definitions are those of the design, section 6.

    Parameters
    ----------
    step : Step
        With its stages, threshold and criteria.
    applied : AppliedVoltage
        The r.m.s. voltage against the stages.
    setup : Setup
        Noise, scale factor and instruments.

    Notes
    -----
    What differs between a detector's reading and a list of pulses is in a few methods: which moments count as lit or
    as burning, what the charge is, and how it is said.
    """

    least_silence_s = 0.0
    """How long before the end of a hold the last discharge must lie for the record to show that it went out [s]."""
    told: tuple[str, ...] = _ALWAYS_TOLD

    def __init__(self, step: Step, applied: AppliedVoltage, setup: Setup) -> None:
        self.step, self.setup, self.applied = step, setup, applied
        self.time_s, self.voltage_kv = applied.time_s, applied.voltage_kv
        self.limit_pc = limit_of(step)
        self.measuring = measuring_stage(step)

    @abstractmethod
    def noise(self) -> Measured:
        """Return the background noise [pC]."""

    @property
    @abstractmethod
    def noise_pc(self) -> float | None:
        """Background noise, or the most that it can be [pC]; None where nothing is known of it."""

    @property
    @abstractmethod
    def noise_after_pc(self) -> float | None:
        """Background noise after the voltage was lowered [pC]; None where the record does not show it."""

    @abstractmethod
    def u_charge(self, charge_pc: float) -> float | None:
        """Return U at k = 2 of one charge [pC]; None where no instrument is stated."""

    @property
    @abstractmethod
    def magnitudes_pc(self) -> Samples:
        """All charges of the record, without sign [pC]."""

    @abstractmethod
    def lit_at(self, charge_pc: float) -> Samples:
        """Return the moments at which discharges above a charge begin to repeat [s]."""

    @abstractmethod
    def burning_at(self, charge_pc: float) -> Samples:
        """Return all moments that show discharges above a charge [s]."""

    @abstractmethod
    def silent_from(self, last_s: float) -> float:
        """Return the first moment after the last discharge at which there is none [s]; infinite where none is left."""

    @abstractmethod
    def apparent_charge(self, stage: Stage, window_s: float | None) -> Measured:
        """Return the largest repeatedly occurring charge at the end of a stage's hold [pC]."""

    def voltage_at(self, moment_s: float) -> float | None:
        """Return the r.m.s. voltage at one moment [kV], or None where the record does not tell it."""
        return float(self.voltage_kv[min(int(np.searchsorted(self.time_s, moment_s)), len(self.time_s) - 1)])

    @cached_property
    def quiet_until(self) -> int:
        """Number of samples of the voltage before it first passes a tenth of the first set point."""
        passed = self.voltage_kv >= 0.1 * self.step.stages[0].voltage_kv
        return int(np.argmax(passed)) if passed.any() else 0

    @cached_property
    def quiet_from(self) -> int:
        """Index of the first sample after the last stage from which the voltage stays below a tenth of set point."""
        passed = np.flatnonzero(self.voltage_kv >= 0.1 * self.step.stages[0].voltage_kv)
        return int(passed[-1]) + 1 if len(passed) else len(self.voltage_kv)

    @cached_property
    def threshold_pc(self) -> float | None:
        """Charge above which discharges count [pC]: the greater of twice the noise and the procedure's threshold."""
        if self.noise_pc is None:
            return None
        return max(2 * self.noise_pc, self.step.threshold_pc or 0.0)

    def first_reach(self) -> int:
        """Return the last sample of the way up to the first stage."""
        first = self.applied.located[0]
        return first.reached if first else int(np.argmax(self.voltage_kv))

    @cached_property
    def inception_s(self) -> float | None:
        """Moment at which discharges first repeat above the threshold, on the way up to the first stage [s]."""
        if self.threshold_pc is None:
            return None
        lit = self.lit_at(self.threshold_pc)
        way_up = lit[lit <= self.time_s[self.first_reach()]]
        return float(way_up[0]) if len(way_up) else None

    def inception_voltage(self) -> Measured:
        """Return the inception voltage [kV]; where none was seen, that it lies above the highest voltage of the way."""
        if self.threshold_pc is None:
            return self._no_threshold()
        if self.inception_s is None:
            highest = float(self.voltage_kv[self.first_reach()])
            words = f"No discharge above {self.threshold_pc:.4g} pC was seen on the way up to {highest:.4g} kV."
            return Measured(None, words=words, at_least=highest)
        voltage, moment = self.voltage_at(self.inception_s), f"{self.inception_s:.6g} s into the record"
        if voltage is None:
            return Measured(None, words=f"Discharges began {moment}, where the voltage is not known.")
        words = f"Discharges first passed {self.threshold_pc:.4g} pC {moment}, on the way up."
        return Measured(voltage, self.applied.uncertainty_of(voltage), words)

    def _no_threshold(self) -> Measured:
        return Measured(None, words="The background noise is not known, so the threshold of discharges is not either.")

    def not_reached(self, stage: Stage) -> Measured:
        """Return that a stage was not reached."""
        return Measured(None, words=f"The stage “{stage.name}” was not reached.")

    def hold_of(self, stage: Stage) -> slice | None:
        """Return the samples of the required hold of a stage, or of its stay where that is shorter."""
        place = self.applied.at(stage)
        if place is None:
            return None
        end = int(np.searchsorted(self.time_s, place.stay.start_s + stage.hold_s * (1 + 1e-9), side="right"))
        return slice(place.stay.first, min(max(end, place.stay.first + 1), place.stay.last + 1))

    @cached_property
    def range_end_pc(self) -> float | None:
        """Charge at which the detector's range ended [pC]; None where the record does not show it."""
        return range_end(self.magnitudes_pc)

    def _within_range(
        self, measured: Measured, stage: Stage, limit_pc: float | None, last_s: float | None = None
    ) -> Measured:
        """Return what was measured in a hold, or that the detector's range ended in it, short of the limit.

        Where the end of the range lies above the limit, what reached it is above the limit too. `last_s` is how much of
        the end of the hold counts [s], for the charge itself, which is not valid then; all of it where that is None.
        """
        end, hold = self.range_end_pc, self.hold_of(stage)
        if end is None or hold is None or (limit_pc is not None and end > limit_pc):
            return measured
        at_end = self._burning_in(hold, end * (1 - _SLACK))
        first_s = -math.inf if last_s is None else float(self.time_s[hold.stop - 1]) - last_s
        cut = int(np.count_nonzero(at_end >= first_s))
        if not cut:
            return measured
        words = (
            f"{cut} readings of the hold at {stage.voltage_kv:g} kV stand at {spoken(end, None)} pC, the greatest of "
            "the record, while the others differ: the detector's range ended there, and what was above it is not "
            "known. Measure again in a higher range."
        )
        if last_s is None:
            return Measured(None, words=words)
        return Measured(None, words=words, at_least=end, settled="not_valid")

    def _way_down(self) -> slice | None:
        """Return the samples from the end of the first stage to the end of the measuring hold."""
        hold = self.hold_of(self.measuring)
        first = self.applied.located[0]
        if hold is None:
            return None
        if first is None or first.stage is self.measuring:
            return hold
        return slice(first.stay.last, hold.stop)

    def _burning_in(self, span: slice, charge_pc: float) -> Samples:
        burning = self.burning_at(charge_pc)
        return burning[(burning >= self.time_s[span.start]) & (burning <= self.time_s[span.stop - 1])]

    def _out_at(self, span: slice, burning: Samples) -> float | None:
        """Return when the last discharge of a span was over [s]; None where the span does not show it."""
        out = self.silent_from(float(burning[-1]))
        return out if out <= float(self.time_s[span.stop - 1]) - self.least_silence_s else None

    @cached_property
    def extinction_s(self) -> float | None:
        """Moment, on the way down, from which charge stays at or below the threshold [s]; else None."""
        span = self._way_down()
        if span is None or self.threshold_pc is None:
            return None
        burning = self._burning_in(span, self.threshold_pc)
        return self._out_at(span, burning) if len(burning) else None

    def extinction_voltage(self) -> Measured:
        """Return the extinction voltage [kV], or the side on which it lies where it was not seen."""
        span = self._way_down()
        if self.threshold_pc is None:
            return self._no_threshold()
        if span is None:
            return self.not_reached(self.measuring)
        threshold = f"{self.threshold_pc:.4g} pC"
        if self.extinction_s is not None:
            voltage, moment = self.voltage_at(self.extinction_s), f"{self.extinction_s:.6g} s into the record"
            if voltage is None:
                return Measured(None, words=f"Discharges ended {moment}, where the voltage is not known.")
            words = f"Discharges stayed at or below {threshold} from {moment} on."
            return Measured(voltage, self.applied.uncertainty_of(voltage), words)
        lowest, highest = float(self.voltage_kv[span].min()), float(self.voltage_kv[span].max())
        if len(self._burning_in(span, self.threshold_pc)):
            words = f"Discharges above {threshold} went on at {lowest:.4g} kV until the end of the hold."
            return Measured(None, words=words, at_most=lowest)
        words = f"No discharge above {threshold} was left when the voltage was lowered from {highest:.4g} kV."
        return Measured(None, words=words, at_least=highest)

    def time_to_extinction(self, stage: Stage) -> Measured:
        """Return the time from reaching a stage until charge keeps the limit for the rest of the hold [s]."""
        hold, place, limit = self.hold_of(stage), self.applied.at(stage), self.limit_pc
        if hold is None or place is None:
            return self.not_reached(stage)
        if limit is None:
            return Measured(None, words="The procedure names neither a limit of charge nor a threshold.")
        span = slice(min(place.reached, hold.start), hold.stop)
        burning = self._burning_in(span, limit)
        if not len(burning):
            return Measured(0.0, self.applied.uncertainty_of_time(0.0), f"The charge stayed at or below {limit:g} pC.")
        start_s, out_s = float(self.time_s[span.start]), self._out_at(span, burning)
        if out_s is None:
            passed = float(self.time_s[span.stop - 1]) - start_s
            words = f"The charge was still above {limit:g} pC at the end of the hold, {passed:.4g} s after reaching it."
            return Measured(None, words=words, at_least=max(passed, stage.hold_s))
        words = f"After reaching {stage.voltage_kv:g} kV the charge went on above {limit:g} pC, and stayed below then."
        return Measured(out_s - start_s, self.applied.uncertainty_of_time(out_s - start_s), words)

    @cached_property
    def reignitions_s(self) -> tuple[float, ...]:
        """Moments, after the first stage, at which discharges began to repeat again after a second's silence [s]."""
        span = self._way_down()
        if span is None or self.threshold_pc is None:
            return ()
        burning, lit = self._burning_in(span, self.threshold_pc), self.lit_at(self.threshold_pc)
        if not len(burning):
            return ()
        silence = max(_SILENCE_S, 3 * self.applied.interval_s)
        starts = np.flatnonzero(np.diff(burning) > silence) + 1
        edges = np.append(starts, len(burning))
        groups = zip(burning[edges[:-1]], burning[edges[1:] - 1], strict=True)
        return tuple(float(begin) for begin, end in groups if ((lit >= begin) & (lit <= end)).any())

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
                return self._within_range(self.time_to_extinction(stage), stage, self.limit_pc)
            case "apparent_charge_pc":
                window_s = criterion.window_s or self.step.window_s or WINDOW_S
                charge = self.apparent_charge(stage, window_s)
                return self._within_range(charge, stage, criterion.maximum, window_s)
            case "background_noise_pc":
                return self.noise()
            case "noise_after_pc":
                return self._noise_after()
            case "charge_scale_factor":
                return scale_factor_of(self.step, self.setup)
            case _:
                return self.of_pulses(criterion, stage)

    def of_pulses(self, criterion: Criterion, stage: Stage) -> Measured:
        """Return a quantity that only single pulses tell."""
        words = "The record holds a detector's reading and no single pulses, so this cannot be derived from it."
        return Measured(None, words=words)

    def implied(self) -> tuple[Criterion, ...]:
        """Return what the standards always ask of a discharge test, listed or not."""
        told = self.told if self.noise_after_pc is None else (*self.told, "noise_after_pc")
        return (*self.applied.implied(), *implied_of_charge(self.step, self.setup, told))

    def events(self) -> tuple[Event, ...]:
        """Return inception, extinction, re-ignitions and disruptive discharges in order of time."""
        events = [Event("disruptive_discharge", c.time_s, c.from_kv) for c in self.applied.collapses]
        moments = [("inception", self.inception_s), ("extinction", self.extinction_s)]
        moments += [("reignition", moment) for moment in self.reignitions_s]
        for name, moment in moments:
            voltage = None if moment is None else self.voltage_at(moment)
            if moment is not None and voltage is not None:
                events.append(Event(name, moment, voltage))
        return tuple(sorted(events, key=lambda event: event.time_s))

    def remarks(self) -> tuple[str, ...]:
        """Return what a reviewer should know and no criterion asks."""
        said = list(self.applied.remarks())
        if self.setup.scale_factor is None:
            said.append("The set-up states no charge calibration; the charge is taken as the record states it.")
        if self.reignitions_s:
            said.append(self._reignited())
        after, limit = self.noise_after_pc, self.limit_pc
        if after is not None and limit is not None and after > _NOISE_SHARE * limit:
            said.append(
                f"The background noise after the test was {after:.3g} pC, more than half the limit of "
                f"{limit:g} pC; it may have been so during the test."
            )
        return tuple(said)

    def _reignited(self) -> str:
        first, count = self.reignitions_s[0], len(self.reignitions_s)
        voltage = self.voltage_at(first)
        at = "" if voltage is None else f" at {voltage:.4g} kV"
        times = "once" if count == 1 else f"{count} times"
        return (
            f"Discharges began again {times} after at least 1 s without any: first{at}, {first:.6g} s into the record."
        )

    def _noise_after(self) -> Measured:
        after = self.noise_after_pc
        if after is None:
            return Measured(None, words="The record shows no charge after the voltage was lowered.")
        return Measured(after, self.u_charge(after), "The noise was read after the voltage was lowered.")
