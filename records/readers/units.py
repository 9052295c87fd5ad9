"""A closed list of spellings of units: what is not on it is asked for, never guessed.

A general units library reads ``pc`` as parsec and ``PC`` as petacoulomb; here only the quantities that a test
laboratory records have units, and each only those that an instrument writes.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence

from records.readers.names import CANDIDATES

_SMALL = ("u", "µ", "μ")  # the letter, the micro sign U+00B5, the Greek letter U+03BC
_OHMS = ("Ω", "\u2126", "Ohm", "ohm", "Ohms", "ohms", "OHM")  # the Greek letter U+03A9, the ohm sign U+2126


def _ohms(*prefixes: tuple[str, float]) -> dict[str, float]:
    return {prefix + ohm: factor for prefix, factor in prefixes for ohm in _OHMS}


def _small(unit: str, factor: float) -> dict[str, float]:
    return {prefix + unit: factor for prefix in _SMALL}


_OHM = _ohms(("", 1.0), ("k", 1e3), ("m", 1e-3), ("M", 1e6), ("G", 1e9), *((small, 1e-6) for small in _SMALL))
_CELSIUS = dict.fromkeys(("°C", "℃", "degC", "deg C", "C", "Celsius", "K", "Kelvin", "kelvin"), 1.0)
_RATIO = dict.fromkeys(("1", "-", "p.u.", "pu"), 1.0)

# Channel -> exact spelling -> factor to the channel's own unit, which is the first. Case matters where it changes the
# meaning (mV, MV). Kelvin also has an offset.
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
        **dict.fromkeys(("A", "a", "amp", "amps", "ampere", "Ampere"), 1e3),
        **dict.fromkeys(("uA", "µA", "μA"), 1e-3),
        "kA": 1e6,
    },
    "current_a": {
        **dict.fromkeys(("A", "a", "amp", "amps", "ampere", "Ampere"), 1.0),
        **dict.fromkeys(("mA", "ma"), 1e-3),
        **dict.fromkeys(("uA", "µA", "μA"), 1e-6),
        "kA": 1e3,
    },
    "frequency_hz": {
        **dict.fromkeys(("Hz", "hz", "HZ"), 1.0),
        **dict.fromkeys(("kHz", "khz", "KHz", "KHZ"), 1e3),
        **dict.fromkeys(("MHz", "MHZ"), 1e6),
    },
    "phase_deg": {**dict.fromkeys(("deg", "°", "degree", "degrees"), 1.0), "rad": 180.0 / math.pi},
    "temperature_c": _CELSIUS,
    "ambient_c": _CELSIUS,
    "impedance_ohm": _OHM,
    "impedance_real_ohm": _OHM,
    "impedance_imag_ohm": _OHM,
    "resistance_ohm": _OHM,
    "insulation_resistance_mohm": {
        **_ohms(("M", 1.0), ("G", 1e3), ("T", 1e6), ("k", 1e-3), ("", 1e-6)),
        **dict.fromkeys(("mohm", "Mohm", "megohm", "Megohm"), 1.0),
    },
    "gain_db": dict.fromkeys(("dB", "db", "DB"), 1.0),
    "reflection_real": _RATIO,
    "reflection_imag": _RATIO,
    "dissipation_factor": {
        **_RATIO,
        **dict.fromkeys(("%", "percent"), 1e-2),
        **dict.fromkeys(("‰", "1e-3", "1E-3", "e-3", "E-3", "10^-3", "10-3", "10⁻³", "x10^-3", "×10⁻³", "mrad"), 1e-3),
        **dict.fromkeys(("1e-4", "1E-4", "e-4", "E-4", "10^-4", "10-4", "10⁻⁴", "x10^-4", "×10⁻⁴"), 1e-4),
    },
    "capacitance_uf": {**_small("F", 1.0), "nF": 1e-3, "pF": 1e-6, "mF": 1e3, "F": 1e6},
    "inductance_mh": {"mH": 1.0, "H": 1e3, **_small("H", 1e-3), "nH": 1e-6},
    "loss_w": {"W": 1.0, "kW": 1e3, "mW": 1e-3, "MW": 1e6},
    "gated": _RATIO,
    "part": _RATIO,
}
_OFFSETS = dict.fromkeys(("K", "Kelvin", "kelvin"), -273.15)
_AMBIGUOUS = frozenset(("1", "-", "10-3", "10-4"))  # cells of a row that hold these need not be units
_PORTS = re.compile(r"^s[1-9][1-9]_(real|imag)$")

CHANNELS: tuple[str, ...] = tuple(_SPELLINGS)
DIMENSIONLESS = frozenset(channel for channel, known in _SPELLINGS.items() if next(iter(known)) == "1")
UNITS: Mapping[str, str] = {
    **{channel: next(iter(known)) for channel, known in _SPELLINGS.items()},
    "insulation_resistance_mohm": "MΩ",
    "capacitance_uf": "µF",
}

_BRACKETED = re.compile(r"^(?P<name>.*?)\s*[\(\[\{]\s*(?P<unit>[^()\[\]{}]*?)\s*[\)\]\}]$")
_DIVIDED = re.compile(r"^(?P<name>.+?)\s*(?:/| in )\s*(?P<unit>[^/\s]+)$")
_TRAILING = re.compile(r"^(?P<name>.+?)[\s_]+(?P<unit>[^\s_]+)$")


def is_channel(name: str) -> bool:
    """Return whether a name is of the closed list, or of one port pair of a network as ``s21_real``."""
    return name in _SPELLINGS or _PORTS.match(name) is not None


def _known(channel: str) -> Mapping[str, float]:
    return _RATIO if _PORTS.match(channel) else _SPELLINGS.get(channel, {})


def _bare(unit: str) -> str:
    return unit.strip().strip("[](){}").strip()


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
        Factor, dimensionless; None where the spelling is not on the list for this channel. For a temperature
        `offset_to` is added after it.

    Examples
    --------
    >>> factor_to("voltage_kv", "V")
    0.001
    >>> factor_to("charge_pc", "PC")
    1.0
    >>> factor_to("dissipation_factor", "%")
    0.01
    """
    return _known(channel).get(_bare(unit))


def offset_to(channel: str, unit: str) -> float:
    """Return what is added after the factor: the distance of the zeros of two temperature scales, else 0.

    Examples
    --------
    >>> offset_to("temperature_c", "K")
    -273.15
    >>> offset_to("voltage_kv", "V")
    0.0
    """
    return _OFFSETS.get(_bare(unit), 0.0) if channel in ("temperature_c", "ambient_c") else 0.0


def spellings_of(channel: str) -> tuple[str, ...]:
    """Return the spellings of units known for one channel, for messages and forms."""
    return tuple(_known(channel))


def is_unit(text: str) -> bool:
    """Return whether a cell holds a unit of any channel, as ``kV`` or ``[pC]``; a bare 1 or dash need not be one."""
    return _bare(text) not in _AMBIGUOUS and any(factor_to(channel, text) is not None for channel in CHANNELS)


def _plain(name: str) -> str:
    return re.sub(r"[\s_\-.]+", " ", name).strip().casefold()


def _chosen(name: str, unit: str | None, wanted: Sequence[str]) -> str | None:
    """Return the channel that a plain name means: of those that its unit allows, one that is wanted goes first."""
    known = CANDIDATES.get(_plain(name), ())
    able = [channel for channel in known if unit is None or factor_to(channel, unit) is not None]
    return next((channel for channel in able if channel in wanted), able[0] if able else None)


def may_name_part(head: str) -> bool:
    """Return whether a head may be that of a column of names, as ``Phase`` or ``Winding``.

    Examples
    --------
    >>> may_name_part("Winding"), may_name_part("R (Ω)")
    (True, False)
    """
    return "part" in CANDIDATES.get(_plain(head.strip('"')), ())


def understand_head(head: str, wanted: Sequence[str] = ()) -> tuple[str | None, str | None]:
    """Return the channel and the unit that a head names.

    Parameters
    ----------
    head : str
        One head, as ``Voltage (kV)``, ``U/kV``, ``charge [pC]``, ``time_s``.
    wanted : sequence of str
        Channels that the step can use: they decide where a name, as ``R``, may mean several.

    Returns
    -------
    tuple of (str or None, str or None)
        Channel (None: not told by this head) and spelling of the unit (None: the head names none).

    Examples
    --------
    >>> understand_head("U/kV")
    ('voltage_kv', 'kV')
    >>> understand_head("R (GΩ)", ("insulation_resistance_mohm",))
    ('insulation_resistance_mohm', 'GΩ')
    >>> understand_head("CH1")
    (None, None)
    """
    head = head.strip().strip('"').strip()
    if is_channel(head.casefold()):
        return head.casefold(), UNITS.get(head.casefold(), "1")
    channel = _chosen(head, None, wanted)
    if channel:
        return channel, None
    for pattern in (_BRACKETED, _DIVIDED, _TRAILING):
        match = pattern.match(head)
        if not match:
            continue
        unit = match["unit"]
        channel = _chosen(match["name"], unit, wanted)
        if channel:
            return channel, unit
        if pattern is not _TRAILING and is_unit(unit):
            return _chosen(match["name"], None, wanted), unit
    return None, None
