"""Records whose answer is known by construction, for tests and for the demonstration laboratory."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from records.readers.recording import Recording, Samples


@dataclass(frozen=True)
class Hold:
    """One level of a voltage profile: set point [kV], time at it [s], slope by which it is approached [kV/s]."""

    voltage_kv: float
    hold_s: float
    slope_kv_per_s: float = 2.0


@dataclass(frozen=True)
class Discharges:
    """How a unit discharges.

    Attributes
    ----------
    inception_kv : float
        Voltage at which discharges begin while it rises [kV].
    extinction_kv : float
        Voltage at which they end while it falls [kV].
    charge_pc : float
        Their charge [pC].
    lingering_s : float
        Time for which they go on after the last level is reached, whatever the extinction voltage [s].
    """

    inception_kv: float
    extinction_kv: float
    charge_pc: float
    lingering_s: float = 0.0


def voltage_profile(
    holds: Sequence[Hold], *, interval_s: float = 0.1, quiet_s: float = 10.0, tail_s: float = 5.0
) -> tuple[Samples, Samples]:
    """Return times and the noiseless voltage of a profile of ramps and holds.

    Parameters
    ----------
    holds : sequence of Hold
        In order; the voltage starts at 0 and is lowered to 0 at the last slope.
    interval_s : float
        Time between samples [s].
    quiet_s, tail_s : float
        Time without voltage before and after [s].

    Returns
    -------
    tuple of (ndarray (n,), ndarray (n,))
        Times [s] from 0 and voltage [kV].
    """
    corners = [(0.0, 0.0), (quiet_s, 0.0)]
    for hold in holds:
        now, level = corners[-1]
        arrived = now + abs(hold.voltage_kv - level) / hold.slope_kv_per_s
        corners += [(arrived, hold.voltage_kv), (arrived + hold.hold_s, hold.voltage_kv)]
    now, level = corners[-1]
    down = now + level / holds[-1].slope_kv_per_s
    corners += [(down, 0.0), (down + tail_s, 0.0)]
    time_s = np.arange(round(corners[-1][0] / interval_s) + 1, dtype=np.float64) * interval_s
    at_s, level_kv = np.transpose(np.array(corners))
    return time_s, np.interp(time_s, at_s, level_kv)


def synthesise_withstand(
    holds: Sequence[Hold],
    *,
    seed: int,
    interval_s: float = 0.1,
    ripple: float = 0.001,
    collapse_at_s: float | None = None,
    cut_at_s: float | None = None,
) -> Recording:
    """Return the record of a withstand test.

    Parameters
    ----------
    holds : sequence of Hold
        Levels in order.
    seed : int
        Of the noise; the same seed gives the same record.
    interval_s : float
        Time between samples [s].
    ripple : float
        Standard deviation of the voltage relative to itself, dimensionless.
    collapse_at_s : float, optional
        Time of a disruptive discharge [s]: from there on the voltage is practically 0.
    cut_at_s : float, optional
        Time at which the record ends [s].

    Returns
    -------
    Recording
        With ``voltage_kv``.
    """
    chance = np.random.default_rng(seed)
    time_s, voltage = voltage_profile(holds, interval_s=interval_s)
    voltage = _rippled(voltage, ripple, chance)
    if collapse_at_s is not None:
        voltage[time_s >= collapse_at_s] *= 0.01
    kept = slice(None) if cut_at_s is None else time_s < cut_at_s
    return Recording(time_s[kept], {"voltage_kv": voltage[kept]})


def synthesise_discharge(
    holds: Sequence[Hold],
    discharges: Discharges | None,
    *,
    seed: int,
    noise_pc: float = 2.0,
    interval_s: float = 0.1,
    ripple: float = 0.001,
    collapse_at_s: float | None = None,
    scale_factor: float = 1.0,
) -> Recording:
    """Return the record of a partial-discharge test as a detector writes it.

    Parameters
    ----------
    holds : sequence of Hold
        Levels in order.
    discharges : Discharges or None
        How the unit discharges; None for a unit that does not.
    seed : int
        Of noise and charge.
    noise_pc : float
        Greatest background noise [pC]; it is spread evenly between half of this and this.
    interval_s, ripple, collapse_at_s
        As in `synthesise_withstand`.
    scale_factor : float
        k by which the detector's reading must be multiplied; the record holds the charge divided by it.

    Returns
    -------
    Recording
        With ``voltage_kv`` and ``charge_pc``. While the unit discharges, charge lies between 90 and 100 % of
        `Discharges.charge_pc`, and the noise adds nothing to it.
    """
    chance = np.random.default_rng(seed)
    time_s, exact = voltage_profile(holds, interval_s=interval_s)
    charge = chance.uniform(0.5, 1.0, len(time_s)) * noise_pc
    if discharges is not None:
        burning = is_discharging(time_s, exact, holds, discharges)
        charge[burning] = chance.uniform(0.9, 1.0, int(burning.sum())) * discharges.charge_pc
    voltage = _rippled(exact, ripple, chance)
    if collapse_at_s is not None:
        voltage[time_s >= collapse_at_s] *= 0.01
        charge[time_s >= collapse_at_s] = noise_pc / 2
    return Recording(time_s, {"voltage_kv": voltage, "charge_pc": charge / scale_factor})


def is_discharging(
    time_s: Samples, voltage_kv: Samples, holds: Sequence[Hold], discharges: Discharges
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Return for each sample whether the unit discharges: ignited at inception, out below extinction.

    Parameters
    ----------
    time_s, voltage_kv : ndarray (n,)
        Times [s] and noiseless voltage [kV].
    holds : sequence of Hold
        Levels in order.
    discharges : Discharges
        Inception, extinction and lingering.

    Returns
    -------
    ndarray (n,) of bool
        Whether the unit discharges at each sample.
    """
    lit, burning = False, np.zeros(len(time_s), dtype=bool)
    last = holds[-1].voltage_kv
    arrivals = np.flatnonzero(np.abs(voltage_kv - last) < 1e-9)
    arrived_s = float(time_s[arrivals[0]]) if len(arrivals) else float("inf")
    for place, level in enumerate(voltage_kv):
        lit = level >= discharges.inception_kv or (lit and level > discharges.extinction_kv)
        burning[place] = lit
    if discharges.lingering_s and burning.any():
        burning[int(np.argmax(burning)) :] |= time_s[int(np.argmax(burning)) :] < arrived_s + discharges.lingering_s
    return burning


def _rippled(voltage: Samples, ripple: float, chance: np.random.Generator) -> Samples:
    return np.abs(voltage * (1 + ripple * np.clip(chance.standard_normal(len(voltage)), -3, 3)))


@dataclass(frozen=True)
class PulseTrain:
    """Pulses that a unit gives while it is lit.

    Attributes
    ----------
    charge_pc : float
        Magnitude of each pulse [pC]; its sign is that of the half wave.
    rate_per_s : float
        Pulses per second, spread at equal times [1/s].
    begin_s, end_s : float
        First and last time [s].
    phases_deg : tuple of float
        Least and greatest phase in the positive half wave [°]; half of the pulses lie there, the others half a turn on.
    """

    charge_pc: float
    rate_per_s: float
    begin_s: float
    end_s: float
    phases_deg: tuple[float, float] = (30.0, 90.0)


def synthesise_pulses(
    holds: Sequence[Hold],
    trains: Sequence[PulseTrain],
    *,
    seed: int,
    frequency_hz: float = 50.0,
    quiet_s: float = 10.0,
    scale_factor: float = 1.0,
) -> Recording:
    """Return a list of pulses with phase and instantaneous voltage, as a digital instrument writes it.

    Parameters
    ----------
    holds : sequence of Hold
        Levels in order; the voltage is that of `voltage_profile`, without ripple.
    trains : sequence of PulseTrain
        Pulses, each moved within its period to a phase of its train.
    seed : int
        Of the phases; the same seed gives the same list.
    frequency_hz : float
        Of the voltage [Hz].
    quiet_s : float
        Time without voltage before [s].
    scale_factor : float
        k by which the instrument's reading must be multiplied.

    Returns
    -------
    Recording
        With ``charge_pc``, ``phase_deg`` and ``voltage_kv`` (instantaneous), in order of time.
    """
    chance = np.random.default_rng(seed)
    profile_s, profile_kv = voltage_profile(holds, quiet_s=quiet_s)
    times, charges, phases = [], [], []
    for train in trains:
        at = (
            train.begin_s
            + (np.arange(round((train.end_s - train.begin_s) * train.rate_per_s)) + 0.5) / train.rate_per_s
        )
        second = np.arange(len(at)) % 2 == 1
        phase = chance.uniform(*train.phases_deg, len(at)) + 180.0 * second
        times.append((np.floor(at * frequency_hz) + phase / 360.0) / frequency_hz)
        charges.append(np.where(second, -1.0, 1.0) * train.charge_pc)
        phases.append(phase)
    order = np.argsort(np.concatenate(times), kind="stable")
    time_s, phase_deg = np.concatenate(times)[order], np.concatenate(phases)[order]
    crest = np.sqrt(2.0) * np.interp(time_s, profile_s, profile_kv)
    channels = {
        "charge_pc": np.concatenate(charges)[order] / scale_factor,
        "phase_deg": phase_deg,
        "voltage_kv": crest * np.sin(np.radians(phase_deg)),
    }
    return Recording(time_s, channels)


def synthesise_wave(
    holds: Sequence[Hold],
    *,
    seed: int,
    frequency_hz: float = 50.0,
    rate_hz: float = 5000.0,
    noise_kv: float = 0.0,
    harmonics: Mapping[int, float] | None = None,
    offset_kv: float = 0.0,
    quiet_s: float = 1.0,
    collapse_at_s: float | None = None,
) -> Recording:
    """Return the raw wave of a withstand test.

    Parameters
    ----------
    holds : sequence of Hold
        Levels in order: crest/√2 of the fundamental [kV].
    seed : int
        Of the noise.
    frequency_hz, rate_hz : float
        Of the voltage and of the samples [Hz].
    noise_kv : float
        Standard deviation of the noise [kV].
    harmonics : mapping of int to float, optional
        Amplitude relative to the fundamental by order; their sines begin with the fundamental's.
    offset_kv : float
        Added to every sample [kV].
    quiet_s : float
        Time without voltage before [s].
    collapse_at_s : float, optional
        Time of a disruptive discharge [s]: from there on the voltage is practically 0.

    Returns
    -------
    Recording
        With ``voltage_kv``, instantaneous.
    """
    profile_s, profile_kv = voltage_profile(holds, quiet_s=quiet_s, tail_s=1.0)
    time_s = np.arange(round(float(profile_s[-1]) * rate_hz) + 1) / rate_hz
    angle = 2 * np.pi * frequency_hz * time_s
    shape = np.sin(angle)
    for order, amplitude in (harmonics or {}).items():
        shape = shape + amplitude * np.sin(order * angle)
    wave = np.sqrt(2.0) * np.interp(time_s, profile_s, profile_kv) * shape
    if collapse_at_s is not None:
        wave[time_s >= collapse_at_s] *= 0.005
    return Recording(
        time_s, {"voltage_kv": wave + offset_kv + noise_kv * np.random.default_rng(seed).standard_normal(len(time_s))}
    )
