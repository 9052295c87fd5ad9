"""Impulse records whose parameters are known by construction, for tests and for the demonstration laboratory."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from records.evaluation.impulse.exponentials import DoubleExponential
from records.readers.recording import Recording, Samples

STANDARD_SLOW_US, STANDARD_FAST_US = 68.21697, 0.4050343
"""τ1 and τ2 [µs] of the exact 1.2/50 wave: solved from the definitions of T1 and T2."""


@dataclass(frozen=True)
class Oscillation:
    """A decaying oscillation on the crest: share of the crest, frequency [MHz], time constant of its decay [µs]."""

    share: float
    frequency_mhz: float = 0.5
    decay_us: float = 2.0


@dataclass(frozen=True)
class Disturbance:
    """What a recorder adds.

    Attributes
    ----------
    noise : float
        Standard deviation of each sample relative to the crest, dimensionless.
    bits : int or None
        Resolution of the recorder, whose range is 2.2 times the crest.
    offset_kv : float
        Level before the impulse [kV].
    drift_kv_per_us : float
        Slope of that level [kV/µs].
    """

    noise: float = 0.0
    bits: int | None = None
    offset_kv: float = 0.0
    drift_kv_per_us: float = 0.0


def wave_with_crest(
    crest_kv: float, *, slow_us: float = STANDARD_SLOW_US, fast_us: float = STANDARD_FAST_US, start_us: float = 5.0
) -> DoubleExponential:
    """Return the double exponential with a given crest [kV], negative for negative polarity."""
    unit = DoubleExponential(1.0, slow_us, fast_us, start_us)
    return DoubleExponential(crest_kv / unit.crest_kv, slow_us, fast_us, start_us)


def synthesise_impulse(
    wave: DoubleExponential,
    *,
    seed: int,
    interval_us: float = 0.01,
    duration_us: float = 100.0,
    oscillation: Oscillation | None = None,
    disturbance: Disturbance | None = None,
    chopped_after_us: float | None = None,
    current_a_per_kv: float | None = None,
) -> Recording:
    """Return the record of one impulse.

    Parameters
    ----------
    wave : DoubleExponential
        The wave without oscillation; its crest is Ut where there is none.
    seed : int
        Of the noise; the same seed gives the same record.
    interval_us, duration_us : float
        Sampling period and length of the record [µs].
    oscillation : Oscillation, optional
        Laid over the wave from its start on.
    disturbance : Disturbance, optional
        Noise, resolution, offset and drift.
    chopped_after_us : float, optional
        Time from the true origin [µs] at which the voltage collapses, within 0.1 µs.
    current_a_per_kv : float, optional
        Where given the record has ``current_a``: the current through a shunt, proportional to the voltage's slow part.

    Returns
    -------
    Recording
        With ``voltage_kv``, and ``current_a`` where asked for.
    """
    chance = np.random.default_rng(seed)
    time_us: Samples = np.arange(round(duration_us / interval_us), dtype=np.float64) * interval_us
    late = time_us - wave.start_us
    voltage = wave.at(time_us)
    if oscillation is not None:
        voltage = voltage + _oscillating(wave, oscillation, late)
    if chopped_after_us is not None:
        voltage = _collapsed(voltage, late, chopped_after_us)
    channels = {"voltage_kv": _disturbed(voltage, time_us, wave.crest_kv, disturbance or Disturbance(), chance)}
    if current_a_per_kv is not None:
        current = current_a_per_kv * wave.amplitude_kv * -np.expm1(-np.maximum(late, 0.0) / wave.slow_us)
        channels["current_a"] = current + (disturbance or Disturbance()).noise * np.abs(current).max() * (
            chance.standard_normal(len(current))
        )
    return Recording(time_us * 1e-6, channels)


def _oscillating(wave: DoubleExponential, oscillation: Oscillation, late_us: Samples) -> Samples:
    since = np.maximum(late_us, 0.0)
    swing: Samples = np.sin(2 * np.pi * oscillation.frequency_mhz * since) * np.exp(-since / oscillation.decay_us)
    return oscillation.share * wave.crest_kv * swing


def _collapsed(voltage: Samples, late_us: Samples, after_us: float) -> Samples:
    level = float(np.interp(after_us, late_us, voltage))
    since = np.maximum(late_us - after_us, 0.0)
    ringing = level * np.exp(-since / 0.4) * np.cos(2 * np.pi * 1.0 * since)
    falling = level * (1 - since / 0.1)
    return np.where(late_us <= after_us, voltage, np.where(since < 0.1, falling, -0.3 * ringing))


def _disturbed(
    voltage: Samples, time_us: Samples, crest_kv: float, disturbance: Disturbance, chance: np.random.Generator
) -> Samples:
    crest = abs(crest_kv)
    recorded: Samples = voltage + disturbance.offset_kv + disturbance.drift_kv_per_us * time_us
    if disturbance.noise:
        recorded = recorded + disturbance.noise * crest * chance.standard_normal(len(recorded))
    if disturbance.bits is not None:
        step = 2.2 * crest / 2**disturbance.bits
        recorded = np.round(recorded / step) * step
    return recorded
