"""Partial discharge from a detector's time record, or from a list of pulses."""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np

from records.evaluation.applied import AppliedVoltage
from records.evaluation.discharge_basis import WINDOW_S, DischargeBasis
from records.evaluation.examination import Examination, NotExaminable
from records.evaluation.measured import Measured, expanded, relative_standard_uncertainty, resolution_of
from records.evaluation.pulse_record import examine_pulses, is_pulse_list
from records.evaluation.setups import Setup
from records.evaluation.soundness import repeated, standing_still
from records.evaluation.step import Stage, Step
from records.evaluation.thinning import thinned_trend
from records.evaluation.waveform import NotAWave, WaveCutOff, changes_sign, trend_of
from records.readers.recording import Recording, Samples

_IN_A_ROW = 3


class DetectorRecord(DischargeBasis):
    """A detector's own reading over time against one discharge step.

    Parameters
    ----------
    step : Step
        With its stages, threshold and criteria.
    recording : Recording
        Sound, with ``voltage_kv`` (r.m.s. trend) and ``charge_pc``.
    setup : Setup
        Noise, scale factor and instruments. The scale factor multiplies the record's charge; noise that the set-up
        states is in pC already.
    """

    def __init__(self, step: Step, recording: Recording, setup: Setup) -> None:
        super().__init__(step, AppliedVoltage(step, recording, setup), setup)
        as_read, factor = np.abs(recording.channels["charge_pc"]), setup.scale_factor or 1.0
        self.charge_pc = as_read if factor == 1.0 else as_read * factor
        self.resolution_pc = resolution_of(as_read) * factor

    @cached_property
    def noise_pc(self) -> float | None:
        """Background noise [pC]: what the set-up states, else the 95th percentile before the voltage was raised."""
        if self.setup.background_noise_pc is not None:
            return self.setup.background_noise_pc
        quiet = self.charge_pc[: self.quiet_until]
        return float(np.percentile(quiet, 95)) if len(quiet) else None

    @property
    def noise_after_pc(self) -> float | None:
        """The 95th percentile after the voltage was lowered [pC]; None for fewer than three samples."""
        after = self.charge_pc[self.quiet_from :]
        return float(np.percentile(after, 95)) if len(after) >= _IN_A_ROW else None

    def u_charge(self, charge_pc: float) -> float | None:
        """Return U at k = 2 of one charge from instruments and resolution [pC]; None where no instrument is stated."""
        relative = relative_standard_uncertainty(self.setup, "charge", charge_pc)
        return expanded(charge_pc, relative, self.resolution_pc / math.sqrt(12))

    def noise(self) -> Measured:
        """Return the background noise [pC]."""
        if self.noise_pc is None:
            return Measured(
                None,
                words="The set-up states no background noise, and the record has no charge before the voltage passes a "
                "tenth of the first set point: the noise is not known. State it in the set-up.",
            )
        if self.setup.background_noise_pc is not None:
            return Measured(self.noise_pc, self.u_charge(self.noise_pc), "The set-up states the background noise.")
        words = f"The noise was read from the {self.quiet_until} samples before the voltage was raised."
        return Measured(self.noise_pc, self.u_charge(self.noise_pc), words)

    @property
    def magnitudes_pc(self) -> Samples:
        """All readings [pC]."""
        return self.charge_pc

    def lit_at(self, charge_pc: float) -> Samples:
        """Return the first of each three samples in a row above a charge [s]."""
        over = self.charge_pc > charge_pc
        if len(over) < _IN_A_ROW:
            return self.time_s[:0]
        return self.time_s[:-2][over[:-2] & over[1:-1] & over[2:]]

    def burning_at(self, charge_pc: float) -> Samples:
        """Return the times of all samples above a charge [s]."""
        return self.time_s[self.charge_pc > charge_pc]

    def silent_from(self, last_s: float) -> float:
        """Return the time of the sample after a moment [s]."""
        index = int(np.searchsorted(self.time_s, last_s, side="right"))
        return float(self.time_s[index]) if index < len(self.time_s) else math.inf

    def apparent_charge(self, stage: Stage, window_s: float | None) -> Measured:
        """Return the greatest charge over the last seconds of a stage's hold [pC]."""
        hold = self.hold_of(stage)
        if hold is None:
            return self.not_reached(stage)
        window = window_s or self.step.window_s or WINDOW_S
        times, charges = self.time_s[hold], self.charge_pc[hold]
        inside = times >= times[-1] - window * (1 + 1e-9)
        charge = float(charges[inside].max())
        words = f"The greatest charge was read over the last {window:g} s of the hold at {stage.voltage_kv:g} kV."
        return Measured(charge, self.u_charge(charge), words)


def examine(step: Step, recording: Recording, setup: Setup) -> Examination:
    """Return what a record says of a partial-discharge test.

    Parameters
    ----------
    step : Step
        With stages, threshold and criteria.
    recording : Recording
        Sound: ``voltage_kv`` (r.m.s. trend) and ``charge_pc`` (the detector's own reading), or a list of pulses with
        ``charge_pc`` and ``phase_deg`` or instantaneous ``voltage_kv``.
    setup : Setup
        Noise, scale factor and instruments.

    Returns
    -------
    Examination
        See `DischargeBasis` for each quantity.

    Raises
    ------
    NotExaminable
        A detector's record in which times repeat, or the voltage never moves; a list of pulses may have pulses at one
        time, and says in its own words where it cannot be examined.

    References
    ----------
    IEC 60270:2000 with AMD1:2015, clauses 3 to 5, from memory; the design, section 6.
    """
    sampled, words = _by_periods(recording)
    if sampled is None and is_pulse_list(recording):
        return examine_pulses(step, recording, setup)
    reason = repeated(recording.time_s) or standing_still("voltage_kv", recording.channels["voltage_kv"])
    if reason:
        raise NotExaminable(reason)
    record = DetectorRecord(step, sampled or recording, setup)
    return Examination(
        record.measure,
        record.implied(),
        record.applied.found_stages,
        record.events(),
        (*words, *record.remarks()),
        record.applied.overstressed,
        {"trend": thinned_trend(record.time_s, record.voltage_kv)} if sampled is not None else {},
    )


def _by_periods(recording: Recording) -> tuple[Recording | None, tuple[str, ...]]:
    """Return a record of equidistant samples of a wave by its periods: r.m.s. voltage and greatest charge of each.

    None for anything else: a trend, and a list of pulses, which has no equidistant samples.
    """
    time_s, channels = recording.time_s, recording.channels
    if "phase_deg" in channels or "gated" in channels or not changes_sign(channels.get("voltage_kv", time_s)):
        return None, ()
    steps = np.diff(time_s)
    usual = float(np.median(steps))
    if np.count_nonzero(np.abs(steps - usual) > 0.1 * usual) > 0.01 * len(steps):
        return None, ()
    try:
        wave = trend_of(time_s, channels["voltage_kv"])
    except WaveCutOff as fault:
        raise NotExaminable(str(fault)) from fault
    except NotAWave:
        return None, ()
    firsts = np.searchsorted(time_s, wave.time_s - wave.interval_s / 2)
    charge = np.maximum.reduceat(np.abs(channels["charge_pc"]), firsts)
    words = (
        f"The voltage changes sign at equal intervals, so the record is a wave, of {wave.frequency_hz:.4g} Hz; its "
        "voltage is peak/√2 and its charge the greatest reading of each period."
    )
    sampled = Recording(wave.time_s, {"voltage_kv": wave.voltage_kv, "charge_pc": charge}, recording.metadata)
    return sampled, (words,)
