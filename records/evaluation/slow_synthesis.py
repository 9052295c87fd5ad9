"""Records of slow tests whose answer is known by construction, for tests and for the demonstration laboratory."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from records.readers.recording import Recording, Samples


@dataclass(frozen=True)
class Disturbance:
    """What spoils a constructed record.

    Attributes
    ----------
    noise : float
        Standard deviation of each reading [unit of the reading, or relative where the function says so].
    step : float
        Step to which readings are rounded [unit of the reading]; 0 leaves them.
    dropped : float
        Share of the samples that are missing, dimensionless, 0 to below 1.
    seed : int
        The same seed gives the same record.
    """

    noise: float = 0.0
    step: float = 0.0
    dropped: float = 0.0
    seed: int = 0
    resampled: float = 0.0

    def spoil(self, exact: Samples, *, relative: bool = False) -> Samples:
        """Return the readings that an instrument gives for exact values [same unit], shape (n,)."""
        chance = np.random.default_rng([self.seed, 1])
        size = self.noise * np.abs(exact) if relative else self.noise
        noisy: Samples = exact + size * chance.standard_normal(len(exact))
        return np.round(noisy / self.step) * self.step if self.step else noisy

    def kept(self, count: int) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Return which of the samples were not dropped, shape (count,); the first and the last always stay."""
        chance = np.random.default_rng([self.seed, 2])
        stays = chance.random(count) >= self.dropped
        stays[[0, -1]] = True
        return stays

    def sampled(self, time_s: Samples, values: Samples, interval_s: float) -> tuple[Samples, Samples]:
        """Return times [s] and readings after samples were dropped and, where asked, others interpolated from the rest.

        Parameters
        ----------
        time_s, values : ndarray (n,)
            As an instrument took them.
        interval_s : float
            Between two of them [s].
        """
        kept = self.kept(len(time_s))
        time_s, values = time_s[kept], values[kept]
        if not self.resampled:
            return time_s, values
        begin = time_s[0] + interval_s * np.random.default_rng([self.seed, 4]).random()
        even = np.arange(begin, time_s[-1], self.resampled * interval_s)
        return even, np.interp(even, time_s, values)


@dataclass(frozen=True)
class Winding:
    """How a winding cools: R(t) = hot − fall (1 − exp(−t/τ)) − drift t.

    Attributes
    ----------
    hot_ohm : float
        At shutdown [Ω].
    fall_ohm : float
        By which it falls towards the surroundings of the winding [Ω].
    time_constant_s : float
        τ [s].
    drift_ohm_per_s : float
        By which those surroundings fall meanwhile, as resistance [Ω/s].
    """

    hot_ohm: float = 0.548
    fall_ohm: float = 0.11
    time_constant_s: float = 300.0
    drift_ohm_per_s: float = 6e-6

    def at(self, after_s: Samples) -> Samples:
        """Return the exact resistance [Ω] at times after shutdown [s], shape (n,)."""
        fallen: Samples = self.fall_ohm * -np.expm1(-after_s / self.time_constant_s)
        return self.hot_ohm - fallen - self.drift_ohm_per_s * after_s


def synthesise_cooling(
    winding: Winding,
    disturbance: Disturbance | None = None,
    *,
    first_s: float = 20.0,
    last_s: float = 1800.0,
    interval_s: float = 10.0,
    shutdown_s: float = 0.0,
    ambient_c: float | None = None,
) -> Recording:
    """Return the record of a cooling curve.

    Parameters
    ----------
    winding : Winding
        How it cools.
    disturbance : Disturbance, optional
        Noise and steps in Ω.
    first_s, last_s, interval_s : float
        First and last reading after shutdown and the time between readings [s].
    shutdown_s : float
        Shutdown on the time axis of the record [s].
    ambient_c : float, optional
        Temperature of the surroundings, as a channel [°C].

    Returns
    -------
    Recording
        With ``resistance_ohm`` and, where asked, ``ambient_c``.
    """
    spoiled = disturbance or Disturbance()
    after = np.arange(first_s, last_s + interval_s / 2, interval_s)
    after, resistance = spoiled.sampled(after, spoiled.spoil(winding.at(after)), interval_s)
    channels = {"resistance_ohm": resistance}
    if ambient_c is not None:
        channels["ambient_c"] = np.full(len(after), ambient_c)
    return Recording(after + shutdown_s, channels)


def synthesise_absorption(
    one_minute_mohm: float,
    polarization_index: float,
    disturbance: Disturbance | None = None,
    *,
    last_s: float = 660.0,
    interval_s: float = 5.0,
    conduction_share: float = 0.0,
) -> Recording:
    """Return the record of an insulation resistance while the absorption current dies away as a power of time.

    1/R = (s + (1 − s) (t/60 s)^(−n))/R_1, with n such that R_10/R_1 is the index.

    Parameters
    ----------
    one_minute_mohm : float
        R_1, after 1 min [MΩ].
    polarization_index : float
        R_10/R_1, dimensionless, at least 1 and below 1/s.
    disturbance : Disturbance, optional
        Noise relative to the reading, steps in MΩ.
    last_s, interval_s : float
        Last reading and time between readings [s].
    conduction_share : float
        s, share of the current after 1 min that does not die away, dimensionless, 0 to below 1.

    Returns
    -------
    Recording
        With ``insulation_resistance_mohm``.
    """
    spoiled = disturbance or Disturbance()
    time_s = np.arange(interval_s, last_s + interval_s / 2, interval_s)
    left = (1 / polarization_index - conduction_share) / (1 - conduction_share)
    exponent = -math.log10(left)
    current = conduction_share + (1 - conduction_share) * (time_s / 60.0) ** -exponent
    values = spoiled.spoil(one_minute_mohm / current, relative=True)
    time_s, values = spoiled.sampled(time_s, values, interval_s)
    return Recording(time_s, {"insulation_resistance_mohm": values})


def synthesise_table(
    exact: Mapping[str, float], disturbances: Mapping[str, Disturbance] | None = None, *, rows: int = 5
) -> Recording:
    """Return a record of repeated readings in rows, without a time axis.

    Parameters
    ----------
    exact : mapping of str to float
        True value by channel [unit in the channel's name].
    disturbances : mapping of str to Disturbance, optional
        By channel; none leaves the exact value in every row.
    rows : int
        Number of readings.

    Returns
    -------
    Recording
        With an empty time axis.
    """
    spoiled = disturbances or {}
    return Recording(
        np.empty(0),
        {name: spoiled.get(name, Disturbance()).spoil(np.full(rows, value)) for name, value in exact.items()},
    )
