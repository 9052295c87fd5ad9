"""Dimensions by the suffix of a name, so that a formula adding kilovolts to seconds is refused when it is read."""

from __future__ import annotations

from fractions import Fraction

Dimension = tuple[Fraction, Fraction, Fraction, Fraction]
"""Exponents of voltage, current, time and everything else that is counted (kelvin, metre)."""


def _dimension(volt: int = 0, ampere: int = 0, second: int = 0, other: int = 0) -> Dimension:
    return (Fraction(volt), Fraction(ampere), Fraction(second), Fraction(other))


DIMENSIONLESS = _dimension()
_BY_SUFFIX: dict[str, Dimension] = {
    "v": _dimension(volt=1),
    "kv": _dimension(volt=1),
    "a": _dimension(ampere=1),
    "ka": _dimension(ampere=1),
    "s": _dimension(second=1),
    "us": _dimension(second=1),
    "min": _dimension(second=1),
    "hz": _dimension(second=-1),
    "pc": _dimension(ampere=1, second=1),
    "kvar": _dimension(volt=1, ampere=1),
    "mvar": _dimension(volt=1, ampere=1),
    "kva": _dimension(volt=1, ampere=1),
    "mva": _dimension(volt=1, ampere=1),
    "kw": _dimension(volt=1, ampere=1),
    "w": _dimension(volt=1, ampere=1),
    "kj": _dimension(volt=1, ampere=1, second=1),
    "ohm": _dimension(volt=1, ampere=-1),
    "mohm": _dimension(volt=1, ampere=-1),
    "uohm": _dimension(volt=1, ampere=-1),
    "mh": _dimension(volt=1, ampere=-1, second=1),
    "uf": _dimension(volt=-1, ampere=1, second=1),
    "nf": _dimension(volt=-1, ampere=1, second=1),
    "pf": _dimension(volt=-1, ampere=1, second=1),
    "m": _dimension(other=1),
    "k": _dimension(other=2),
    "c": _dimension(other=2),
}


def dimension_of(name: str) -> Dimension:
    """Return the dimension that a name's suffix states; a name without a known suffix is dimensionless.

    Parameters
    ----------
    name : str
        For example ``highest_voltage_kv`` (a voltage) or ``tuned_order`` (dimensionless).

    Returns
    -------
    Dimension
        Exponents of voltage, current, time and other.

    Notes
    -----
    Only the kind of quantity is compared, not its prefix: V and kV are both voltages.

    Examples
    --------
    >>> dimension_of("highest_voltage_kv") == dimension_of("voltage_v")
    True
    >>> dimension_of("tuned_order") == DIMENSIONLESS
    True
    """
    suffix = name.rpartition("_")[2] if "_" in name else ""
    return _BY_SUFFIX.get(suffix, DIMENSIONLESS)


def unit_of(name: str) -> str:
    """Return how the unit in a name's suffix is written for a reader, empty where it has none.

    Parameters
    ----------
    name : str
        A name with a unit suffix.

    Returns
    -------
    str
        For example ``"kV"``.

    Examples
    --------
    >>> unit_of("charge_limit_pc")
    'pC'
    """
    return _WRITTEN.get(name.rpartition("_")[2] if "_" in name else "", "")


_WRITTEN = {
    "v": "V",
    "kv": "kV",
    "a": "A",
    "ka": "kA",
    "s": "s",
    "us": "µs",
    "min": "min",
    "hz": "Hz",
    "pc": "pC",
    "kvar": "kvar",
    "mvar": "Mvar",
    "kva": "kVA",
    "mva": "MVA",
    "kw": "kW",
    "w": "W",
    "kj": "kJ",
    "ohm": "Ω",
    "mohm": "MΩ",
    "uohm": "µΩ",
    "mh": "mH",
    "uf": "µF",
    "nf": "nF",
    "pf": "pF",
    "m": "m",
    "k": "K",
    "c": "°C",
    "pct": "%",
}
