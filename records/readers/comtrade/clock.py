"""When each sample was taken: by declared rates where there are any, else by time stamps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from records.readers.comtrade.configuration import Configuration
from records.readers.comtrade.values import Raw
from records.readers.recording import Samples
from records.readers.refusals import RecordDamaged

_WRAP = 2.0**32


@dataclass(frozen=True)
class Clock:
    """Times from the first sample [s], and what was odd about them."""

    time_s: Samples
    oddities: tuple[str, ...]


def times_of(known: Configuration, raw: Raw) -> Clock:
    """Return the time of each sample.

    Parameters
    ----------
    known : Configuration
        Rates, tick of the time stamps.
    raw : Raw
        Sample numbers and time stamps.

    Returns
    -------
    Clock
        Times (n,) from the first sample [s]. A sample that is missing from the numbers leaves its interval open.

    Raises
    ------
    RecordDamaged
        There is neither a rate nor a time stamp for every sample.

    Notes
    -----
    Where a rate is declared, the time stamps are not needed; they are compared and a difference is told. At a change of
    rate, the interval before a sample is that of the sample's own rate.
    """
    stamped = _stamps_s(known, raw)
    if not known.rates:
        if stamped is None:
            raise RecordDamaged(
                "The configuration declares no sampling rate, and not every sample has a time stamp. "
                "Export the record again."
            )
        time_s, said = stamped
        return Clock(time_s, (*said, "No sampling rate is declared; the time stamps were used."))
    places, said = _places(raw)
    time_s = _by_rates(known, places)
    if len(known.rates) > 1:
        told = ", ".join(f"{rate:.6g} a second up to sample {end}" for rate, end in known.rates[:5])
        said.append(f"The sampling rate changes: {told}.")
    if stamped is not None:
        said.extend(_compared(known, time_s, stamped[0]))
    return Clock(time_s - time_s[0], tuple(said))


def _places(raw: Raw) -> tuple[Samples, list[str]]:
    """Return sample numbers from 0, or rows counted where the numbers are none."""
    numbers = raw.numbers
    counted = np.arange(len(numbers), dtype=np.float64)
    steps = np.diff(numbers)
    if not np.isfinite(numbers).all() or (steps < 1).any() or (steps > 1e9).any():
        return counted, ["The sample numbers do not rise; the rows were counted instead."]
    skipped = int((steps - 1).sum())
    if skipped:
        first = int(numbers[int(np.argmax(steps > 1))])
        return numbers - min(numbers[0], 1.0), [f"{skipped} sample numbers are skipped, the first after {first}."]
    return numbers - numbers[0], []


def _by_rates(known: Configuration, places: Samples) -> Samples:
    """Return times along pieces of constant rate; the last rate goes on to the end."""
    last = max(places[-1], known.rates[-1][1]) + 1.0
    at, time = [0.0], [0.0]
    for number, (rate, end) in enumerate(known.rates):
        stop = last if number == len(known.rates) - 1 else max(float(end) - 1.0, at[-1])
        time.append(time[-1] + (stop - at[-1]) / rate)
        at.append(stop)
    if len(known.rates) == 1:
        return places / known.rates[0][0]
    return np.interp(places, at, time)


def _stamps_s(known: Configuration, raw: Raw) -> tuple[Samples, list[str]] | None:
    """Return times by the stamps, or None where one is missing or all are the same."""
    stamps = raw.stamps
    if not np.isfinite(stamps).all() or (len(stamps) > 1 and stamps[0] == stamps[-1] == stamps.max()):
        return None
    said = []
    wraps = np.concatenate(([0.0], np.cumsum(np.diff(stamps) < -_WRAP / 2)))
    if known.file_type != "ASCII" and wraps.any():
        stamps = stamps + wraps * _WRAP
        said.append("The time stamps passed the end of their range; it was added from there on.")
    return (stamps - stamps[0]) * known.stamp_s, said


def _compared(known: Configuration, time_s: Samples, stamped_s: Samples) -> list[str]:
    apart = np.abs(stamped_s - (time_s - time_s[0]))
    least = max(2 * known.stamp_s, 1.0 / min(rate for rate, _ in known.rates))
    worst = int(np.argmax(apart))
    if apart[worst] <= max(least, 1e-3 * float(time_s[-1] - time_s[0])):
        return []
    return [
        f"By the declared rate sample {worst + 1} is at {time_s[worst] - time_s[0]:.6g} s, by its time stamp at "
        f"{stamped_s[worst]:.6g} s. The declared rate was used."
    ]
