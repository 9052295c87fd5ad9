"""A closed list of spellings of units: what is not on it is asked for, never guessed.

A general units library reads ``pc`` as parsec and ``PC`` as petacoulomb; here only the quantities that a test
laboratory records have units, and each only those that an instrument writes.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

# Channel -> exact spelling -> factor to the channel's own unit. Case matters where it changes the meaning (mV, MV).
_SPELLINGS: Mapping[str, Mapping[str, float]] = {
    "time_s": {
        **dict.fromkeys(("s", "S", "sec", "Sec", "secs", "second", "seconds", "Sekunden"), 1.0),
        **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), 1e-3),
        **dict.fromkeys(("us", "µs", "μs", "usec", "microsecond", "microseconds"), 1e-6),
        **dict.fromkeys(("ns", "nanosecond", "nanoseconds"), 1e-9),
        **dict.fromkeys(("min", "Min", "mins", "minute", "minutes"), 60.0),
        **dict.fromkeys(("h", "hr", "hour", "hours"), 3600.0),
    },
    "voltage_kv": {
        **dict.fromkeys(("kV", "KV", "kv", "Kv", "kVrms", "kV rms", "kilovolt", "kilovolts"), 1.0),
        **dict.fromkeys(("V", "v", "Vrms", "V rms", "volt", "volts", "Volt"), 1e-3),
        **dict.fromkeys(("mV", "millivolt", "millivolts"), 1e-6),
        **dict.fromkeys(("MV", "megavolt"), 1e3),
    },
    "charge_pc": {
        **dict.fromkeys(("pC", "pc", "PC", "Pc", "picocoulomb", "picocoulombs"), 1.0),
        **dict.fromkeys(("nC", "nc", "NC", "nanocoulomb", "nanocoulombs"), 1e3),
        **dict.fromkeys(("fC", "fc"), 1e-3),
        **dict.fromkeys(("uC", "µC", "μC"), 1e6),
    },
    "current_ma": {
        **dict.fromkeys(("mA", "ma"), 1.0),
        **dict.fromkeys(("A", "a", "amp", "amps"), 1e3),
        **dict.fromkeys(("uA", "µA", "μA"), 1e-3),
    },
    "frequency_hz": {**dict.fromkeys(("Hz", "hz", "HZ"), 1.0), **dict.fromkeys(("kHz", "khz"), 1e3)},
    "phase_deg": dict.fromkeys(("deg", "°", "degree", "degrees"), 1.0),
}

CHANNELS: tuple[str, ...] = tuple(_SPELLINGS)

_NAMES: Mapping[str, str] = {
    **dict.fromkeys(("t", "time", "times", "timestamp", "time stamp", "elapsed", "elapsed time", "zeit"), "time_s"),
    **dict.fromkeys(("date time", "datetime", "date and time", "clock"), "time_s"),
    **dict.fromkeys(("u", "v", "urms", "u rms", "vrms", "v rms", "voltage", "volts", "spannung", "hv"), "voltage_kv"),
    **dict.fromkeys(("test voltage", "applied voltage", "high voltage", "voltage rms", "rms voltage"), "voltage_kv"),
    **dict.fromkeys(("q", "charge", "apparent charge", "pd", "pd level", "pd magnitude", "pd charge"), "charge_pc"),
    **dict.fromkeys(("discharge", "partial discharge", "ladung", "discharge level"), "charge_pc"),
    **dict.fromkeys(("i", "current", "strom"), "current_ma"),
    **dict.fromkeys(("f", "frequency", "frequenz"), "frequency_hz"),
    **dict.fromkeys(("phase", "phi", "phase angle"), "phase_deg"),
}

_BRACKETED = re.compile(r"^(?P<name>.*?)\s*[\(\[\{]\s*(?P<unit>[^()\[\]{}]*?)\s*[\)\]\}]$")
_DIVIDED = re.compile(r"^(?P<name>.+?)\s*(?:/| in )\s*(?P<unit>[^/\s]+)$")
_TRAILING = re.compile(r"^(?P<name>.+?)[\s_]+(?P<unit>[^\s_]+)$")


def factor_to(channel: str, unit: str) -> float | None:
    """Return what a value in `unit` is multiplied by to be in the channel's own unit.

    Parameters
    ----------
    channel : str
        Name with unit, one of `CHANNELS`, as ``voltage_kv``.
    unit : str
        Spelling from the file or from a person.

    Returns
    -------
    float or None
        Factor, dimensionless; None where the spelling is not on the list for this channel.

    Examples
    --------
    >>> factor_to("voltage_kv", "V")
    0.001
    >>> factor_to("charge_pc", "PC")
    1.0
    """
    return _SPELLINGS.get(channel, {}).get(unit.strip().strip("[](){}").strip())


def spellings_of(channel: str) -> tuple[str, ...]:
    """Return the spellings of units known for one channel, for messages and forms."""
    return tuple(_SPELLINGS.get(channel, {}))


def is_unit(text: str) -> bool:
    """Return whether a cell holds a unit of any channel, as ``kV`` or ``[pC]``."""
    return any(factor_to(channel, text) is not None for channel in CHANNELS)


def _plain(name: str) -> str:
    return re.sub(r"[\s_\-.]+", " ", name).strip().casefold()


def understand_head(head: str) -> tuple[str | None, str | None]:
    """Return the channel and the unit that a head names.

    Parameters
    ----------
    head : str
        One head, as ``Voltage (kV)``, ``U/kV``, ``charge [pC]``, ``time_s``.

    Returns
    -------
    tuple of (str or None, str or None)
        Channel (None: not told by this head) and spelling of the unit (None: the head names none).

    Examples
    --------
    >>> understand_head("U/kV")
    ('voltage_kv', 'kV')
    >>> understand_head("CH1")
    (None, None)
    """
    head = head.strip().strip('"').strip()
    if head.casefold() in CHANNELS:
        return head.casefold(), head.rsplit("_", 1)[1]
    channel = _NAMES.get(_plain(head))
    if channel:
        return channel, None
    for pattern in (_BRACKETED, _DIVIDED, _TRAILING):
        match = pattern.match(head)
        if not match:
            continue
        channel, unit = _NAMES.get(_plain(match["name"])), match["unit"]
        if channel and factor_to(channel, unit) is not None:
            return channel, unit
        if pattern is not _TRAILING and is_unit(unit):
            return channel, unit
    return None, None
