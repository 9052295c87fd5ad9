"""Turns entries of the ledger into what people read: the deed, the fields, and both values in words.

The entries themselves keep the names and values that the database has; only their showing is here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils import timezone

NOTHING = "\N{EN DASH}"
UNITS = {
    "kv": "kV", "kva": "kVA", "pc": "pC", "c": "°C", "kpa": "kPa", "pct": "%", "hz": "Hz", "s": "s", "bytes": "bytes",
    "mvar": "Mvar", "mh": "mH", "uf": "µF", "ohm": "Ω", "m": "m", "kw": "kW", "a": "A", "mm": "mm", "kj": "kJ",
}  # fmt: skip
UNSAID = frozenset({"version"})
LONGEST = 400
_DEEDS: dict[str, str] = {}
_DIGEST = re.compile(r"[0-9a-f]{64}")
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_NUMBERED = re.compile(r"(.+) \(#\d+\)")


@dataclass(frozen=True)
class Told:
    """One field of an entry: its name, and its values before and after; `before` is empty where there was none."""

    label: str
    before: str
    after: str


def name_deeds(deeds: Mapping[str, str]) -> None:
    """Say what people read for these actions; each app does so in its `deeds.py`."""
    _DEEDS.update(deeds)


def deed_in_words(action: str) -> str:
    """Return what was done; an action that nobody named is told by its own words.

    Examples
    --------
    >>> deed_in_words("demo.change_name")
    'Change name'
    """
    words = action.rpartition(".")[2].replace("_", " ")
    return _DEEDS.get(action, words[:1].upper() + words[1:])


def changes_in_words(changes: Mapping[str, Sequence[Any]]) -> list[Told]:
    """Return the fields of an entry that say something, in their order."""
    told = []
    for name, (before, after) in changes.items():
        if name in UNSAID or (_is_empty(before) and _is_empty(after)):
            continue
        unit = _unit(name)
        told.append(Told(_label(name), "" if _is_empty(before) else _value(before, unit), _value(after, unit)))
    return told


def _is_empty(value: Any) -> bool:
    return value is None or value == "" or value == [] or value == {}


def _unit(name: str) -> str:
    return UNITS.get(name.rpartition("_")[2], "") if "_" in name else ""


def _label(name: str) -> str:
    words = name.rpartition("_")[0] if _unit(name) else name
    words = words.removesuffix("_at").removesuffix("_id").replace("_", " ")
    return words[:1].upper() + words[1:]


def _value(value: Any, unit: str = "") -> str:
    if _is_empty(value):
        return NOTHING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{value:.6g} {unit}".strip()
    if isinstance(value, Mapping):
        parts = [f"{_label(name).lower()} {_value(one, _unit(name))}" for name, one in value.items()]
        return _short(", ".join(parts))
    if isinstance(value, Sequence) and not isinstance(value, str):
        return _short(", ".join(_value(one, unit) for one in value))
    return _short(_text(str(value)))


def _text(text: str) -> str:
    if _DIGEST.fullmatch(text):
        return f"{text[:4]}…{text[-4:]}"
    if _INSTANT.fullmatch(text):
        here = timezone.localtime(datetime.fromisoformat(text))
        return f"{_day(here)}, {here:%H:%M}"
    if _DAY.fullmatch(text):
        return _day(date.fromisoformat(text))
    numbered = _NUMBERED.fullmatch(text)
    if numbered:
        return numbered[1]
    return text.replace("_", " ") if re.fullmatch(r"[a-z]+(_[a-z]+)+", text) else text


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def _short(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[:LONGEST]}…"
