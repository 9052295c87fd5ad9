"""What reasons call the keys of step and set-up, the channels and the files: as people do, not as files have them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from records.readers import names
from records.readers.recording import Recording

KEYS: Mapping[str, str] = {
    "material": "the material of the winding",
    "temperature_c": "the temperature during the test",
    "reference_temperature_c": "the reference temperature",
    "ambient_c": "the temperature of the surroundings",
    "shutdown_s": "the time of shutdown",
    "cold_resistance_ohm": "the cold resistance",
    "cold_temperature_c": "the temperature of the cold resistance",
    "voltage_applied_s": "the time at which the voltage was applied",
    "test_voltage_kv": "the test voltage",
    "leakage_mohm": "the insulation resistance of the set-up without the unit",
    "capacitance_before_uf": "the capacitance before the tests",
    "dc_resistance_ohm": "the direct-current resistance",
    "dc_resistance_temperature_c": "the temperature of the direct-current resistance",
    "frequency_hz": "the rated frequency",
    "reference_ohm": "the reference impedance",
}
"""What people call each key that a reason asks for."""


def listed(words: Sequence[str]) -> str:
    """Return words as a sentence lists them.

    Examples
    --------
    >>> listed(["the material", "the cold resistance", "the reference temperature"])
    'the material, the cold resistance and the reference temperature'
    """
    return " and ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)


def not_stated(keys: Sequence[str]) -> str:
    """Return the beginning of a sentence that says which keys nobody states.

    Examples
    --------
    >>> not_stated(["cold_resistance_ohm", "ambient_c"])
    'The cold resistance and the temperature of the surroundings are not stated'
    >>> not_stated(["shutdown_s"])
    'The time of shutdown is not stated'
    """
    words = listed([KEYS[key] for key in keys])
    return f"{words[0].upper()}{words[1:]} {'is' if len(keys) == 1 else 'are'} not stated"


def channel_words(channel: str) -> str:
    """Return what people call a channel, in a sentence.

    Examples
    --------
    >>> channel_words("insulation_resistance_mohm")
    'insulation resistance'
    """
    return names.WORDS.get(channel, channel.replace("_", " "))


def called(recording: Recording, otherwise: str) -> str:
    """Return what a finding calls one of several records: the name that it was given, else other words."""
    return recording.name or otherwise


def opening(words: str) -> str:
    """Return words as they begin a sentence.

    Examples
    --------
    >>> opening("the trace of a sister unit: it shows no response")
    'The trace of a sister unit: it shows no response'
    """
    return words[:1].upper() + words[1:]


def told_apart(called: Sequence[str]) -> list[str]:
    """Return what findings call each of several records: nothing for one alone, with its number where names repeat.

    Examples
    --------
    >>> told_apart(["“a.csv”"]), told_apart(["“a.csv”", "“b.csv”", "“a.csv”"])
    ([''], ['record 1, “a.csv”', '“b.csv”', 'record 3, “a.csv”'])
    """
    if len(called) < 2:
        return [""] * len(called)
    return [name if called.count(name) == 1 else f"record {place}, {name}" for place, name in enumerate(called, 1)]
