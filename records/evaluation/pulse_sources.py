"""Where the voltage of a list of pulses is from: a second record, the pulses themselves, or the set-up."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from records.evaluation.joining import PulseRecording
from records.evaluation.measured import resolution_of
from records.evaluation.pulse_voltage import PulseVoltage, voltage_of_pulses
from records.evaluation.setups import Setup
from records.evaluation.stages import longest_gap_s, usual_interval
from records.evaluation.step import Step
from records.evaluation.waveform import NotAWave, changes_sign, trend_of
from records.evaluation.wording import called, opening
from records.readers.recording import Recording, Samples

_NOWHERE = Recording(np.zeros(0), {"voltage_kv": np.zeros(0)})
_STATED_INTERVAL_S = 0.1
_UNSURE = "The voltage is known only while there are pulses, so the time without any says nothing about it."


@dataclass(frozen=True)
class VoltageSource:
    """The r.m.s. voltage over time, and how far it can be relied on.

    Attributes
    ----------
    trend : Recording
        With ``voltage_kv``; no samples where the voltage is not known.
    words : str
        Where it is from, or why it is not known.
    phase_deg, instantaneous_kv : ndarray (n,) or None
        Of each pulse of the list, gated ones too.
    resolution_kv : float
        Of the voltage as it was recorded [kV].
    unsure : str
        Why a gap does not speak of the voltage, where the pulses alone tell it; else empty.
    is_recorded, is_stated : bool
        Whether a record of its own shows it, or only the set-up.
    shift_s : float
        What is added to the times of the pulses so that both records count from one zero [s].
    """

    trend: Recording
    words: str
    phase_deg: Samples | None
    instantaneous_kv: Samples | None
    resolution_kv: float = 0.0
    unsure: str = ""
    is_recorded: bool = False
    is_stated: bool = False
    shift_s: float = 0.0

    def at(self, moment_s: float) -> float | None:
        """Return the voltage at one moment [kV], interpolated; None in a gap or beyond the ends."""
        times, values = self.trend.time_s, self.trend.channels["voltage_kv"]
        place = int(np.searchsorted(times, moment_s))
        if place == len(times):
            interval = usual_interval(times)
            return float(values[-1]) if moment_s - times[-1] <= interval else None
        if times[place] == moment_s:
            return float(values[place])
        if place == 0:
            return None
        if times[place] - times[place - 1] > longest_gap_s(usual_interval(times)):
            return None
        return float(np.interp(moment_s, times, values))


def voltage_source(step: Step, recording: Recording, setup: Setup) -> VoltageSource:
    """Return the voltage that belongs to a list of pulses.

    Parameters
    ----------
    step : Step
        For the set points of stages that the set-up states.
    recording : Recording
        The list; a `PulseRecording` carries the voltage's own record.
    setup : Setup
        With the times of the stages, where it states them.

    Returns
    -------
    VoltageSource
        From a second record (a wave is taken by its peaks) before the pulses themselves, and these before the set-up.
    """
    own = voltage_of_pulses(recording.time_s, recording.channels.get("phase_deg"), recording.channels.get("voltage_kv"))
    if isinstance(recording, PulseRecording):
        return _of_record(recording, own)
    if len(own.time_s):
        trend = Recording(own.time_s, {"voltage_kv": own.voltage_kv})
        return VoltageSource(trend, own.words, own.phase_deg, own.instantaneous_kv, unsure=_UNSURE)
    if setup.stage_times:
        return _of_setup(step, setup, own)
    return VoltageSource(_NOWHERE, own.words, own.phase_deg, own.instantaneous_kv)


def _of_record(recording: PulseRecording, own: PulseVoltage) -> VoltageSource:
    voltage = recording.voltage
    values = voltage.channels["voltage_kv"]
    shift = _shift(recording, voltage)
    if not changes_sign(values):
        words = f"The voltage is the r.m.s. trend of {called(voltage, 'the second record')}."
        return VoltageSource(
            voltage, words, own.phase_deg, own.instantaneous_kv, resolution_of(values), is_recorded=True, shift_s=shift
        )
    try:
        wave = trend_of(voltage.time_s, values)
    except NotAWave as fault:
        words = f"{opening(called(voltage, 'the second record'))}'s voltage changes sign, so it is a wave. {fault}"
        return VoltageSource(_NOWHERE, words, own.phase_deg, own.instantaneous_kv, shift_s=shift)
    which = called(voltage, "the second record")
    words = f"The voltage is that of {which}, a wave of {wave.frequency_hz:.4g} Hz: peak/√2 of each period."
    return VoltageSource(
        Recording(wave.time_s, {"voltage_kv": wave.voltage_kv}),
        words,
        own.phase_deg,
        own.instantaneous_kv,
        resolution_of(values) / math.sqrt(2),
        is_recorded=True,
        shift_s=shift,
    )


def _shift(pulses: Recording, voltage: Recording) -> float:
    """Return the seconds from the start of the voltage's record to that of the pulses; 0 where either has no clock."""
    try:
        begins = [datetime.fromisoformat(record.metadata["start"]) for record in (voltage, pulses)]
        return (begins[1] - begins[0]).total_seconds()
    except (KeyError, ValueError, TypeError):
        return 0.0


def _of_setup(step: Step, setup: Setup, own: PulseVoltage) -> VoltageSource:
    times, levels = [], []
    for stated in setup.stage_times:
        count = max(2, round((stated.end_s - stated.begin_s) / _STATED_INTERVAL_S) + 1)
        stage = step.stage(stated.name)
        level = stated.voltage_kv if stated.voltage_kv is not None else (stage.voltage_kv if stage else 0.0)
        times.append(np.linspace(stated.begin_s, stated.end_s, count))
        levels.append(np.full(count, level))
    order = np.argsort(np.concatenate(times), kind="stable")
    trend = Recording(np.concatenate(times)[order], {"voltage_kv": np.concatenate(levels)[order]})
    words = f"{own.words} The times and voltages of the stages are those that the set-up states, not recorded ones."
    return VoltageSource(trend, words, own.phase_deg, own.instantaneous_kv, is_stated=True)
