"""Corrections of calibrations applied to the channels of a record, in one place, before any kind looks at it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from records.evaluation.corrected_sweeps import PARTS, known_samples, turned, without_channel
from records.evaluation.corrections import Acting, Corrected, Corrections, corrected_channels
from records.evaluation.joining import PulseRecording
from records.evaluation.measured import Measured, resolution_of, spoken
from records.evaluation.setups import Instrument, Setup
from records.evaluation.step import Criterion, Step
from records.evaluation.waveform import NotAWave, changes_sign, trend_of
from records.readers.recording import Recording, Samples

# Conditions that people read from an instrument and noted, by the channel that they are readings of.
_NOTED: Mapping[str, str] = {
    "temperature_c": "temperature_c",
    "ambient_c": "ambient_c",
    "test_voltage_kv": "voltage_kv",
}
_OF_WAVES = frozenset({"power_frequency_withstand", "partial_discharge"})


@dataclass(frozen=True)
class CorrectedRecords:
    """Records and set-up with the corrections applied, and what a finding must say of them.

    Attributes
    ----------
    records : tuple of Recording
        As the kind's module looks at them.
    setup : Setup
        With the corrections that act.
    spans : mapping of str to (float, float)
        Least and greatest correction by channel [unit of the channel].
    unknown : mapping of str to str
        Why no correction of a channel is known, in a sentence, by channel.
    remarks : tuple of str
        For the reviewer.
    """

    records: tuple[Recording, ...]
    setup: Setup
    spans: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    unknown: Mapping[str, str] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()

    def told(self, step: Step, criterion: Criterion, measured: Measured) -> Measured:
        """Return what was measured with what was corrected; `inconclusive` where the correction is not known.

        What proves itself, as a disruptive discharge, and what is only told without a limit keeps its verdict.
        """
        for channel, why in self.unknown.items():
            row = corrected_channels()[channel]
            if criterion.quantity in (*row.reads, *row.rests):
                measured = _settled(criterion, measured, why)
        for acting in self.setup.acting:
            if acting.row.channel not in self.unknown:
                measured = self._by(acting, step, criterion, measured)
        return measured

    def _by(self, acting: Acting, step: Step, criterion: Criterion, measured: Measured) -> Measured:
        if criterion.quantity in acting.row.reads and measured.value is not None:
            if not acting.knows(measured.value):
                return _settled(criterion, measured, outside(acting, measured.value))
            return _with_words(measured, _reading_in_words(acting, measured))
        if criterion.quantity not in acting.row.rests:
            return measured
        if acting.row.reads:  # it hangs on where the voltage stands, not on single readings
            stages = [stage for stage in step.stages if criterion.stage in (None, stage.name)]
            beyond = next((stage for stage in stages if not acting.knows(stage.voltage_kv)), None)
            return measured if beyond is None else _settled(criterion, measured, outside(acting, beyond.voltage_kv))
        if len(acting.left) and acting.row.leaves_out:
            outer = f"Samples outside the calibrated range of {acting.instrument}, {acting.range_in_words}"
            left = f"{outer}, are left out of this, for their correction is not known."
            return _with_words(measured, f"{self._span_in_words(acting)} {left}".strip())
        if len(acting.left):
            return _settled(criterion, measured, outside(acting, float(acting.left[0])))
        return _with_words(measured, self._span_in_words(acting))

    def _span_in_words(self, acting: Acting) -> str:
        if acting.row.channel not in self.spans:
            return ""
        low, high = self.spans[acting.row.channel]
        shown = f"{low:+.4g}" if f"{low:.4g}" == f"{high:.4g}" else f"{low:+.4g} to {high:+.4g}"
        name, unit = _named(acting.row.channel), f" {acting.unit}".rstrip()
        if acting.is_applied:
            return f"Readings of the {name} were corrected by {shown}{unit} ({_source(acting)})."
        return (
            f"Corrections of the {name} of {shown}{unit} are not applied and count as uncertainty ({_source(acting)})."
        )


def outside(acting: Acting, value: float) -> str:
    """Return that a value lies outside the calibrated range, in the words of the answer for the day."""
    shown = f"{value:.6g} {acting.unit}".rstrip()
    return (
        f"{shown} lies outside the calibrated range of {acting.instrument}, {acting.range_in_words} "
        f"({_source(acting)}), so its correction is not known."
    )


def _source(acting: Acting) -> str:
    named = acting.corrections.certificate
    return f"by certificate {named}" if named else f"by the calibration of {acting.instrument}"


def _settled(criterion: Criterion, measured: Measured, why: str) -> Measured:
    is_told = criterion.is_implied and criterion.minimum is None and criterion.maximum is None
    is_of_the_test = measured.settled in ("not_valid", "does_not_conform", "inconclusive")
    settled = measured.settled if is_told or is_of_the_test else "inconclusive"
    return replace(measured, words=f"{measured.words} {why}".strip(), settled=settled)


def _with_words(measured: Measured, words: str) -> Measured:
    return replace(measured, words=f"{measured.words} {words}".strip(), correction=words) if words else measured


def _reading_in_words(acting: Acting, measured: Measured) -> str:
    value = measured.value or 0.0
    reading = math.copysign(acting.reading_of(abs(value)), value)
    shift = float(acting.corrections_at([reading])[0])
    unit = f" {acting.unit}".rstrip()
    shown = spoken(reading, measured.expanded_uncertainty)
    if acting.is_applied:
        return f"The reading was {shown}{unit}, the correction {shift:+.3g}{unit} {_source(acting)}."
    return f"The correction of {shift:+.3g}{unit} is not applied and counts as uncertainty ({_source(acting)})."


def correct(step: Step, records: Sequence[Recording], setup: Setup) -> CorrectedRecords:
    """Apply the corrections of the set-up's instruments to the channels of a record.

    Parameters
    ----------
    step : Step
        Its kind says whether a voltage is a wave, an impulse, or single readings.
    records : sequence of Recording
        Sound.
    setup : Setup
        With instruments that carry corrections; without any, everything is returned as it came.

    Returns
    -------
    CorrectedRecords
        A reading x becomes x + c(x) where x lies in the calibrated range, and stays as it is where it does not. A wave
        is multiplied by 1 + c(V)/V with V the r.m.s. value of its period, an impulse by the same with V its peak.

    Notes
    -----
    The charge of a circuit that was calibrated before the test is not corrected: its scale factor contains the
    detector. Where two instruments would correct one channel, neither does, and what hangs on it is inconclusive.

    References
    ----------
    ISO/IEC 17025:2017, 6.4.11 (from memory). How a wave and an impulse are corrected: common practice, no source.
    """
    acting, remarks = acting_of(setup), _remarks(setup)
    if not acting and not remarks:
        return CorrectedRecords(tuple(records), setup)
    unknown = _claims(acting) | without_channel(step, records, acting)
    held, spans, made = [], {}, list(records)
    for one in acting:
        if one.row.channel in unknown:
            continue
        try:
            made, shifts, left = _channel(step, made, one)
        except NotAWave as fault:
            unknown[one.row.channel] = str(fault)
            continue
        lost = _lost_resolution(records, made, one.row.channel) if one.is_applied else 0.0
        setup, more, beyond = _noted(setup, one)
        shifts, left = np.concatenate([shifts, more]), np.concatenate([left, beyond])
        if len(shifts):
            spans[one.row.channel] = (float(shifts.min()), float(shifts.max()))
        held.append(replace(one, left=left, lost_resolution=lost))
    return CorrectedRecords(tuple(made), replace(setup, acting=tuple(held)), spans, unknown, tuple(remarks))


def acting_of(setup: Setup) -> list[Acting]:
    """Return the corrections of a set-up's instruments, one for each channel that they are for."""
    return [
        Acting(row, instrument.name, corrections)
        for instrument in setup.instruments
        for corrections in instrument.corrections
        for row in _rows(corrections, instrument)
        if not _is_calibrated_circuit(row, setup)
    ]


def _rows(corrections: Corrections, instrument: Instrument) -> list[Corrected]:
    return [row for row in corrected_channels().values() if corrections.fits(row, instrument.quantity)]


def _is_calibrated_circuit(row: Corrected, setup: Setup) -> bool:
    return row.channel == "charge_pc" and setup.scale_factor is not None


def _remarks(setup: Setup) -> list[str]:
    found = []
    for instrument in setup.instruments:
        for corrections in instrument.corrections:
            rows = _rows(corrections, instrument)
            if not rows:
                unit = corrections.unit or "no unit"
                found.append(f"The corrections of {instrument.name} in {unit} fit nothing that a record can hold.")
            if any(_is_calibrated_circuit(row, setup) for row in rows):
                found.append(
                    f"The corrections of {instrument.name} are not applied to the charge: the circuit was calibrated "
                    "before the test, and its scale factor contains them."
                )
    return found


def claimed_twice(setup: Setup) -> list[str]:
    """Return a sentence for each channel that two instruments of a set-up would correct."""
    return list(_claims(acting_of(setup)).values())


def _claims(acting: Sequence[Acting]) -> dict[str, str]:
    by_channel: dict[str, list[str]] = {}
    for one in acting:
        if one.is_applied:
            by_channel.setdefault(one.row.channel, []).append(one.instrument)
    return {
        channel: f"{' and '.join(names)} would both correct the {_named(channel)}; nobody says which of them read it."
        for channel, names in by_channel.items()
        if len(names) > 1
    }


def _named(channel: str) -> str:
    return corrected_channels()[channel].named.replace("_", " ")


def _lost_resolution(before: Sequence[Recording], after: Sequence[Recording], channel: str) -> float:
    """Return the resolution that the readings had and that corrected ones, which are no round numbers, do not show."""
    lost = [0.0]
    for old, new in zip(before, after, strict=True):
        if isinstance(old, PulseRecording) and isinstance(new, PulseRecording) and channel == "voltage_kv":
            old, new = old.voltage, new.voltage
        if channel in old.channels:
            had, has = resolution_of(old.channels[channel]), resolution_of(new.channels[channel])
            is_averaged = not len(old.time_s) and old.rows > 1 and np.std(old.channels[channel], ddof=1) >= had / 2
            lost.append(0.0 if is_averaged else math.sqrt(max(had**2 - has**2, 0.0)))  # as `resolution_part` takes it
    return max(lost)


_Made = tuple[list[Recording], Samples, Samples]


def _channel(step: Step, records: Sequence[Recording], acting: Acting) -> _Made:
    """Return the records with one channel corrected, the corrections that were known, and the readings left as read."""
    made: list[Recording] = []
    shifts: list[Samples] = [np.zeros(0)]
    left: list[Samples] = [np.zeros(0)]
    for record in records:
        if isinstance(record, PulseRecording) and acting.row.channel == "voltage_kv":
            (voltage,), shift, beyond = _channel(step, [record.voltage], acting)
            made.append(replace(record, voltage=voltage))
        elif acting.row.channel == "impedance_ohm" and all(name in record.channels for name in PARTS):
            parts, shift, beyond = turned(record, acting)
            made.append(replace(record, channels={**record.channels, **parts}))
        elif acting.row.channel in record.channels:
            samples, shift, beyond = _samples(step, record, acting)
            kept = samples if acting.is_applied else record.channels[acting.row.channel]
            known = known_samples(acting, record.channels[acting.row.channel])
            made.append(replace(record, channels={**record.channels, acting.row.channel: kept, **known}))
        else:
            made.append(record)
            continue
        shifts.append(shift)
        left.append(beyond)
    return made, np.concatenate(shifts), np.concatenate(left)


def _samples(step: Step, record: Recording, acting: Acting) -> tuple[Samples, Samples, Samples]:
    samples = record.channels[acting.row.channel]
    if acting.row.channel == "voltage_kv" and step.kind == "lightning_impulse":
        peak = np.array([float(np.abs(samples).max(initial=0.0))])
        factors, shift, beyond = _factors(acting, peak)
        return samples * factors[0], shift, beyond
    if acting.row.channel == "voltage_kv" and step.kind in _OF_WAVES and changes_sign(samples):
        _require_wave(record, acting)
        wave = trend_of(record.time_s, samples)
        factors, shift, beyond = _factors(acting, wave.voltage_kv)
        return samples * np.interp(record.time_s, wave.time_s, factors), shift, beyond
    shifts = acting.corrections_at(samples)
    known = np.isfinite(shifts)
    left = samples[~known] if acting.row.is_signed else np.abs(samples[~known])
    return samples + np.where(known, shifts, 0.0), shifts[known], np.unique(left)


def _factors(acting: Acting, readings: Samples) -> tuple[Samples, Samples, Samples]:
    shifts = acting.corrections_at(readings)
    known = np.isfinite(shifts) & (readings != 0)
    factors = np.ones(len(readings))
    factors[known] += shifts[known] / readings[known]
    return factors, shifts[known], readings[~known]


def _require_wave(record: Recording, acting: Acting) -> None:
    steps = np.diff(record.time_s)
    usual = float(np.median(steps)) if len(steps) else 0.0
    is_even = np.count_nonzero(np.abs(steps - usual) > 0.1 * usual) <= 0.01 * len(steps)
    if "phase_deg" in record.channels or "gated" in record.channels or not is_even:
        raise NotAWave(
            f"The corrections of {acting.instrument} cannot be applied to the instantaneous voltages of single pulses; "
            "give a record of the voltage besides."
        )


def _noted(setup: Setup, acting: Acting) -> tuple[Setup, Samples, Samples]:
    """Return the set-up with what people read from the instrument and noted corrected in the same way."""
    conditions, shifts, left = dict(setup.conditions), [], []
    stages = list(setup.stage_times)
    places: list[tuple[str | int, float]] = [
        (name, conditions[name])
        for name, channel in _NOTED.items()
        if channel == acting.row.channel and name in conditions
    ]
    if acting.row.channel == "voltage_kv":
        places += [(at, stage.voltage_kv) for at, stage in enumerate(stages) if stage.voltage_kv is not None]
    for place, value in places:
        shift = float(acting.corrections_at([value])[0])
        if math.isnan(shift):
            left.append(value)
            continue
        shifts.append(shift)
        corrected = value + (shift if acting.is_applied else 0.0)
        if isinstance(place, str):
            conditions[place] = corrected
        else:
            stages[place] = replace(stages[place], voltage_kv=corrected)
    return replace(setup, conditions=conditions, stage_times=tuple(stages)), np.array(shifts), np.array(left)
