"""A list of pulses against a discharge step: what it shows with the voltage, and what without."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from records.evaluation.applied import AppliedVoltage, implied_of_voltage
from records.evaluation.discharge_basis import (
    WINDOW_S,
    DischargeBasis,
    implied_of_charge,
    limit_of,
    scale_factor_of,
)
from records.evaluation.examination import Examination, as_told
from records.evaluation.measured import Measured, expanded, relative_standard_uncertainty, resolution_of, spoken
from records.evaluation.phase_pattern import count_pattern
from records.evaluation.pulse_sources import VoltageSource, voltage_source
from records.evaluation.pulse_trains import PulseQuantities, derive_quantities, largest_repeated_in, repeated
from records.evaluation.quantities import QUANTITIES
from records.evaluation.setups import Setup
from records.evaluation.step import Criterion, Stage, Step
from records.evaluation.thinning import thinned_trend
from records.evaluation.waveform import changes_sign
from records.readers.recording import Recording, Samples

_PATTERN_CELLS = (120, 80)
_READ: Mapping[str, Callable[[PulseQuantities], float | None]] = {
    "repetition_rate_per_s": lambda found: found.repetition_rate_per_s,
    "average_discharge_current_a": lambda found: found.average_discharge_current_a,
    "quadratic_rate_c2_per_s": lambda found: found.quadratic_rate_c2_per_s,
    "discharge_power_w": lambda found: found.discharge_power_w,
}


def is_pulse_list(recording: Recording) -> bool:
    """Return whether a record lists single pulses: charge with phase, with gating, or with a voltage of both signs."""
    names = recording.channels
    if "charge_pc" not in names:
        return False
    voltage = names.get("voltage_kv")
    return "phase_deg" in names or "gated" in names or voltage is None or changes_sign(voltage)


@dataclass(frozen=True)
class Pulses:
    """The pulses that count: times [s], charges with sign and scale factor [pC], voltage [kV] and phase [°] at each."""

    time_s: Samples
    charge_pc: Samples
    instantaneous_kv: Samples | None
    phase_deg: Samples | None
    gated: int
    resolution_pc: float

    @classmethod
    def of(cls, recording: Recording, setup: Setup, source: VoltageSource) -> Pulses:
        """Return the pulses of a record without the gated ones, with the scale factor of the set-up applied."""
        gated = recording.channels.get("gated")
        kept = slice(None) if gated is None else gated == 0
        as_read, factor = recording.channels["charge_pc"], setup.scale_factor or 1.0
        time_s = recording.time_s[kept] + source.shift_s
        phase = None if source.phase_deg is None else source.phase_deg[kept]
        if source.instantaneous_kv is not None:
            instantaneous: Samples | None = source.instantaneous_kv[kept]
        else:
            instantaneous = _by_phase(time_s, phase, source)
        return cls(
            time_s,
            as_read[kept] * factor,
            instantaneous,
            phase,
            0 if gated is None else int(np.count_nonzero(gated)),
            resolution_of(np.abs(as_read)) * factor,
        )

    @cached_property
    def magnitude_pc(self) -> Samples:
        """Charges without their sign [pC]."""
        return np.abs(self.charge_pc)

    def between(self, begin_s: float, end_s: float) -> slice:
        """Return the pulses of a stretch of time, its ends included."""
        first = int(np.searchsorted(self.time_s, begin_s))
        return slice(first, int(np.searchsorted(self.time_s, end_s, side="right")))

    def derived(self, begin_s: float, end_s: float) -> PulseQuantities:
        """Return the derived quantities of a stretch of time."""
        span = self.between(begin_s, end_s)
        voltage = None if self.instantaneous_kv is None else self.instantaneous_kv[span]
        return derive_quantities(self.charge_pc[span], end_s - begin_s, voltage)

    def pattern(self, begin_s: float, end_s: float) -> dict[str, Any] | None:
        """Return the phase-resolved pattern of a stretch as plain values, or None where no phase is known."""
        if self.phase_deg is None:
            return None
        span = self.between(begin_s, end_s)
        phase, charge = self.phase_deg[span], self.charge_pc[span]
        known = np.isfinite(phase)
        across, up = _PATTERN_CELLS
        found = count_pattern(phase[known], charge[known], phase_cells=across, charge_cells=up)
        columns, rows = np.nonzero(found.counts)
        return {
            "phase_cells": across,
            "charge_cells": up,
            "top_pc": found.top_pc,
            "bottom_pc": found.bottom_pc,
            "pulses": found.pulses,
            "begin_s": begin_s,
            "end_s": end_s,
            "cells": np.column_stack((columns, rows, found.counts[columns, rows])).tolist(),
        }

    def in_words(self, setup: Setup) -> list[str]:
        """Return how many pulses were gated, and why as far as it is stated."""
        if not self.gated:
            return []
        total = self.gated + len(self.time_s)
        why = f"The set-up gives the reason: {setup.gating_reason}" if setup.gating_reason else "No reason is stated"
        return [f"{self.gated} of {total} pulses were gated and not counted. {why.rstrip('.')}."]


def _by_phase(time_s: Samples, phase_deg: Samples | None, source: VoltageSource) -> Samples | None:
    """Return the voltage at each pulse from its phase and the r.m.s. voltage, a sine of √2 times that [kV]."""
    trend = source.trend
    if phase_deg is None or not len(trend.time_s):
        return None
    crest = math.sqrt(2) * np.interp(time_s, trend.time_s, trend.channels["voltage_kv"])
    return np.asarray(crest * np.sin(np.radians(phase_deg)), dtype=float)


class PulseRecord(DischargeBasis):
    """A list of pulses, with the voltage it was recorded at, against one discharge step.

    Parameters
    ----------
    step : Step
        With its stages, threshold and criteria.
    pulses : Pulses
        Without the gated ones.
    source : VoltageSource
        The r.m.s. voltage and where it is from.
    setup : Setup
        Noise, scale factor and instruments.

    Notes
    -----
    Discharges repeat where three pulses above a charge lie within one second (`pulse_trains.repeated`); single pulses
    are told in a remark. They went out where no such pulse follows and at least a second of the hold is left.
    """

    least_silence_s = 1.0

    def __init__(self, step: Step, pulses: Pulses, source: VoltageSource, setup: Setup) -> None:
        applied = AppliedVoltage(
            step,
            source.trend,
            setup,
            resolution_kv=source.resolution_kv,
            unsure=source.unsure,
            is_stated=source.is_stated,
        )
        super().__init__(step, applied, setup)
        self.pulses, self.source = pulses, source
        known = [name for name in _READ if name != "discharge_power_w" or pulses.instantaneous_kv is not None]
        self.told = (*DischargeBasis.told, *known)

    @cached_property
    def noise_pc(self) -> float | None:
        """Background noise [pC]: as the set-up states, else the 95th percentile before the voltage was raised."""
        if self.setup.background_noise_pc is not None:
            return self.setup.background_noise_pc
        quiet = self._quiet()
        if len(quiet):
            return float(np.percentile(quiet, 95))
        return self._least_magnitude()

    def _quiet(self) -> Samples:
        if not self.quiet_until:
            return self.pulses.magnitude_pc[:0]
        end = self.time_s[min(self.quiet_until, len(self.time_s) - 1)]
        return self.pulses.magnitude_pc[: int(np.searchsorted(self.pulses.time_s, end))]

    def _least_magnitude(self) -> float | None:
        """Return the least charge of the list, below which noise must lie where a quiet second holds no pulse [pC]."""
        if not self.quiet_until or not len(self.pulses.time_s) or not self.source.is_recorded:
            return None
        if float(self.time_s[min(self.quiet_until, len(self.time_s) - 1)] - self.time_s[0]) < 1.0:
            return None
        return float(self.pulses.magnitude_pc.min())

    @property
    def noise_after_pc(self) -> float | None:
        """The 95th percentile of the pulses after the voltage was lowered [pC]; None where there are none."""
        if self.quiet_from >= len(self.time_s):
            return None
        after = self.pulses.magnitude_pc[int(np.searchsorted(self.pulses.time_s, self.time_s[self.quiet_from])) :]
        return float(np.percentile(after, 95)) if len(after) else None

    def u_charge(self, charge_pc: float) -> float | None:
        """Return U at k = 2 of one charge from instruments and resolution [pC]; None where no instrument is stated."""
        relative = relative_standard_uncertainty(self.setup, "charge", charge_pc)
        return expanded(charge_pc, relative, self.pulses.resolution_pc / math.sqrt(12))

    def noise(self) -> Measured:
        """Return the background noise [pC], or the most that it can be."""
        if self.noise_pc is None:
            words = (
                "The set-up states no background noise, and the list shows none before the voltage passes a tenth of "
                "the first set point: the noise is not known. State it in the set-up."
            )
            return Measured(None, words=words)
        if self.setup.background_noise_pc is not None:
            return Measured(self.noise_pc, self.u_charge(self.noise_pc), "The set-up states the background noise.")
        count = len(self._quiet())
        if count:
            words = f"The noise was read from the {count} pulses before the voltage was raised."
            return Measured(self.noise_pc, self.u_charge(self.noise_pc), words)
        words = (
            "No pulse was recorded before the voltage was raised: the noise lies below the least charge of the list, "
            f"{self.noise_pc:.3g} pC."
        )
        return Measured(None, words=words, at_most=self.noise_pc)

    def voltage_at(self, moment_s: float) -> float | None:
        """Return the r.m.s. voltage at one moment [kV], interpolated; None in a gap or outside the record."""
        return self.source.at(moment_s)

    @property
    def magnitudes_pc(self) -> Samples:
        """Magnitudes of all pulses that count [pC]."""
        return self.pulses.magnitude_pc

    def lit_at(self, charge_pc: float) -> Samples:
        """Return the times of the pulses above a charge that repeat [s]."""
        times = self.pulses.time_s[self.pulses.magnitude_pc > charge_pc]
        return times[repeated(times)]

    def burning_at(self, charge_pc: float) -> Samples:
        """Return the same as `lit_at`: a single pulse is no discharge that goes on."""
        return self.lit_at(charge_pc)

    def silent_from(self, last_s: float) -> float:
        """Return the moment of the last pulse itself [s]."""
        return last_s

    def _window(self, stage: Stage, window_s: float | None) -> tuple[float, float] | None:
        hold = self.hold_of(stage)
        if hold is None:
            return None
        begin_s, end_s = float(self.time_s[hold.start]), float(self.time_s[hold.stop - 1])
        begin_s = max(begin_s, end_s - (window_s or self.step.window_s or WINDOW_S))
        return (begin_s, end_s) if end_s > begin_s else None

    def apparent_charge(self, stage: Stage, window_s: float | None) -> Measured:
        """Return the largest repeatedly occurring charge over the last seconds of a stage's hold [pC]."""
        window = self._window(stage, window_s)
        if window is None:
            return self.not_reached(stage)
        at = f"of the hold at {stage.voltage_kv:g} kV"
        return _apparent_charge(self.pulses, window, f"the last {window[1] - window[0]:.3g} s {at}", self.u_charge)

    def of_pulses(self, criterion: Criterion, stage: Stage) -> Measured:
        """Return a derived quantity over the last seconds of a stage's hold."""
        window = self._window(stage, criterion.window_s)
        if window is None:
            return self.not_reached(stage)
        return _derived(self.pulses, window, criterion.quantity, self.threshold_pc, self.setup)

    def details(self) -> dict[str, Any]:
        """Return the phase-resolved pattern of the measuring hold and its voltage, for the picture."""
        shown: dict[str, Any] = {"trend": thinned_trend(self.time_s, self.voltage_kv), "shift_s": self.source.shift_s}
        hold = self.hold_of(self.measuring)
        if hold is None or not len(self.pulses.time_s):
            return shown
        pattern = self.pulses.pattern(float(self.time_s[hold.start]), float(self.time_s[hold.stop - 1]))
        if pattern is not None:
            level = float(np.mean(self.voltage_kv[hold]))
            shown["pattern"] = {**pattern, "voltage_kv": level, "limit_pc": self.limit_pc}
        return shown

    def remarks(self) -> tuple[str, ...]:
        """Return where the voltage is from, what was gated, and single pulses, beside what every record tells."""
        said = [self.source.words, *self.pulses.in_words(self.setup), *super().remarks()]
        times, trend = self.pulses.time_s, self.source.trend.time_s
        outside = int(np.count_nonzero((times < trend[0] - 1.0) | (times > trend[-1] + 1.0)))
        if outside:
            said.append(f"{outside} pulses lie outside the time of the voltage; nothing is known of them.")
        if self.threshold_pc is not None:
            over = self.pulses.magnitude_pc > self.threshold_pc
            single = int(np.count_nonzero(over)) - len(self.lit_at(self.threshold_pc))
            if single:
                pulses = "1 pulse" if single == 1 else f"{single} pulses"
                said.append(f"{pulses} above {self.threshold_pc:.4g} pC did not repeat within one second.")
        return tuple(said)


def _apparent_charge(
    pulses: Pulses, window: tuple[float, float], where: str, u_charge: Callable[[float], float | None]
) -> Measured:
    charge = largest_repeated_in(pulses.time_s, pulses.magnitude_pc, *window)
    inside = pulses.magnitude_pc[pulses.between(*window)]
    words = f"Charge that occurs repeatedly, weighted by the pulse-train response, over {where}; "
    words += (
        f"the greatest of {len(inside)} pulses was {spoken(float(inside.max()), None)} pC."
        if len(inside)
        else "there was no pulse."
    )
    return Measured(charge, u_charge(charge), words)


def _derived(
    pulses: Pulses, window: tuple[float, float], quantity: str, threshold_pc: float | None, setup: Setup
) -> Measured:
    found = pulses.derived(*window)
    value = _READ[quantity](found)
    if value is None:
        return Measured(None, words="The list has no instantaneous voltage, so the power is not known.")
    words = f"From {found.count} pulses in {found.duration_s:.4g} s."
    if threshold_pc is not None:
        over = int(np.count_nonzero(pulses.magnitude_pc[pulses.between(*window)] > threshold_pc))
        words = f"From {found.count} pulses in {found.duration_s:.4g} s, {over} of them above {threshold_pc:.4g} pC."
    return Measured(value, _uncertainty(value, found.repeatability[quantity], quantity, setup), words)


def _uncertainty(value: float, by_chance: float, quantity: str, setup: Setup) -> float | None:
    """Return U at k = 2 from chance and the instruments' parts: of charge once, twice or not at all, and of voltage."""
    time = relative_standard_uncertainty(setup, "time") or 0.0
    charge = relative_standard_uncertainty(setup, "charge")
    if quantity == "repetition_rate_per_s":
        return expanded(value, time, by_chance)
    if charge is None:
        return None
    if quantity == "quadratic_rate_c2_per_s":
        return expanded(value, math.hypot(2 * charge, time), by_chance)
    voltage = relative_standard_uncertainty(setup, "voltage") if quantity == "discharge_power_w" else 0.0
    return None if voltage is None else expanded(value, math.hypot(charge, voltage, time), by_chance)


def examine_pulses(step: Step, recording: Recording, setup: Setup) -> Examination:
    """Return what a list of pulses says of a partial-discharge test.

    Parameters
    ----------
    step : Step
        With stages, threshold and criteria.
    recording : Recording
        ``charge_pc`` and ``phase_deg``, instantaneous ``voltage_kv`` or both, optionally ``gated`` (0 or 1); a
        `joining.PulseRecording` carries the voltage's own record besides.
    setup : Setup
        Noise, scale factor, instruments; the times of the stages where nothing else tells the voltage.

    Returns
    -------
    Examination
        Where the voltage is not known, the charge is told and every question that needs the voltage stays open.
    """
    source = voltage_source(step, recording, setup)
    pulses = Pulses.of(recording, setup, source)
    if not len(source.trend.time_s):
        return _without_voltage(step, pulses, source, setup)
    record = PulseRecord(step, pulses, source, setup)
    return Examination(
        record.measure,
        record.implied(),
        record.applied.found_stages,
        record.events(),
        record.remarks(),
        record.applied.overstressed,
        record.details(),
    )


def _without_voltage(step: Step, pulses: Pulses, source: VoltageSource, setup: Setup) -> Examination:
    end_s = float(pulses.time_s[-1]) if len(pulses.time_s) else 0.0
    first_s = float(pulses.time_s[0]) if len(pulses.time_s) else 0.0
    mend = (
        "Give a second record with the voltage over the same time, or state the times of the stages in the set-up; "
        "the stages are not guessed."
    )

    def u_charge(charge: float) -> float | None:
        relative = relative_standard_uncertainty(setup, "charge", charge)
        return expanded(charge, relative, pulses.resolution_pc / math.sqrt(12))

    def measure(criterion: Criterion) -> Measured:
        if criterion.quantity == "charge_scale_factor":
            return as_told(criterion, scale_factor_of(step, setup))
        if criterion.quantity == "background_noise_pc" and setup.background_noise_pc is not None:
            noise = setup.background_noise_pc
            return Measured(noise, u_charge(noise), "The set-up states the background noise.")
        window = max(first_s, end_s - (criterion.window_s or step.window_s or WINDOW_S)), end_s
        is_of_pulses = criterion.quantity == "apparent_charge_pc" or criterion.quantity in _READ
        if not is_of_pulses or not window[1] > window[0]:
            return Measured(None, words=f"{source.words} {mend}", settled="inconclusive")
        if criterion.quantity == "apparent_charge_pc":
            found = _apparent_charge(pulses, window, f"the last {window[1] - window[0]:.3g} s of the list", u_charge)
        else:
            found = _derived(pulses, window, criterion.quantity, None, setup)
        words = f"{found.words} At which voltage is not known. {source.words} {mend}"
        return Measured(found.value, found.expanded_uncertainty, words, settled="inconclusive")

    told = tuple(name for name in _READ if name != "discharge_power_w" or pulses.instantaneous_kv is not None)
    remarks = pulses.in_words(setup)
    if setup.scale_factor is None:
        remarks.append("The set-up states no charge calibration; the charge is taken as the record states it.")
    pattern = pulses.pattern(first_s, end_s) if len(pulses.time_s) else None
    details = {} if pattern is None else {"pattern": {**pattern, "voltage_kv": None, "limit_pc": limit_of(step)}}
    implied = (*implied_of_voltage(step), *implied_of_charge(step, setup, told))
    return Examination(measure, implied, (), (), tuple(remarks), "", details)


assert set(_READ) <= set(QUANTITIES)
