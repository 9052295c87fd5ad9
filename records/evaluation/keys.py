"""Keys of a step, a stage or a criterion to values, strictly: the place, the fault and the mend are named."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from records.evaluation.kinds import Key, Shape


class BadStep(ValueError):
    """The step cannot be evaluated as it is written; the message names the key and the mend."""


def number_at(
    row: Mapping[str, Any],
    key: str,
    place: str,
    *,
    above: float | None = None,
    at_least: float | None = None,
    below: float | None = None,
    is_optional: bool = False,
) -> float | None:
    """Return one finite number of an object, or None where it may be missing and is.

    Raises
    ------
    BadStep
        It is missing, no finite number, or beyond a bound.
    """
    value = row.get(key)
    if value is None:
        if is_optional:
            return None
        raise BadStep(f"{place}: is missing; state a number.")
    return _bounded(value, place, above, at_least, below)


def _bounded(value: Any, place: str, above: float | None, at_least: float | None, below: float | None) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not _is_finite(value):
        raise BadStep(f"{place}: “{value}” is not a finite number; state one.")
    if above is not None and value <= above:
        raise BadStep(f"{place}: {value:g} must be above {above:g}.")
    if at_least is not None and value < at_least:
        raise BadStep(f"{place}: {value:g} must be at least {at_least:g}.")
    if below is not None and value >= below:
        raise BadStep(f"{place}: {value:g} must be below {below:g}.")
    return float(value)


def _is_finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number beyond the range of floats
        return False


def rows_at(content: Any, place: str) -> Sequence[Mapping[str, Any]]:
    """Return a list of objects, or raise `BadStep`."""
    if not isinstance(content, list | tuple) or not all(isinstance(row, Mapping) for row in content):
        raise BadStep(f"{place}: must be a list of objects.")
    return content


def values_of(row: Mapping[str, Any], keys: Sequence[Key], place: str = "") -> dict[str, Any]:
    """Return what an object states of the keys named; those that are missing and may be are left out.

    Parameters
    ----------
    row : mapping
        An object of STEP.json; keys that are not named are left alone, since plans carry more than is judged.
    keys : sequence of Key
        What to look for.
    place : str
        Where the object stands, as ``stages[0]``, for the messages.

    Returns
    -------
    dict
        Numbers as float, whole numbers as int, numbers as tuple of float, rows as tuple of dict.

    Raises
    ------
    BadStep
        A required key is missing, or a value cannot be.
    """
    found: dict[str, Any] = {}
    for key in keys:
        where = f"{place}.{key.name}" if place else key.name
        value = row.get(key.name)
        if value is not None:
            found[key.name] = _PARSERS[key.shape](value, key, where)
        elif key.is_required:
            raise BadStep(f"{where}: is missing; state {_ASKED[key.shape]}.")
    return found


def _number(value: Any, key: Key, where: str) -> float:
    return _bounded(value, where, key.above, key.at_least, key.below)


def _whole(value: Any, key: Key, where: str) -> int:
    number = _number(value, key, where)
    if number != int(number):
        raise BadStep(f"{where}: {value:g} must be a whole number.")
    return int(number)


def _text(value: Any, key: Key, where: str) -> str:
    if key.choices and value not in key.choices:
        raise BadStep(f"{where}: “{value}” must be one of {', '.join(key.choices)}.")
    if not isinstance(value, str) or not value.strip():
        raise BadStep(f"{where}: “{value}” must be a text.")
    return value


def _label(value: Any, key: Key, where: str) -> str:
    if isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    return _text(value, key, where)


def _flag(value: Any, key: Key, where: str) -> bool:
    if not isinstance(value, bool):
        raise BadStep(f"{where}: “{value}” must be true or false.")
    return value


def _numbers(value: Any, key: Key, where: str) -> tuple[float, ...]:
    if not isinstance(value, list | tuple):
        raise BadStep(f"{where}: must be a list of numbers.")
    return tuple(_number(one, key, f"{where}[{place}]") for place, one in enumerate(value))


def _rows(value: Any, key: Key, where: str) -> tuple[dict[str, Any], ...]:
    rows = enumerate(rows_at(value, where))
    return tuple(values_of(row, key.keys, f"{where}[{place}]") for place, row in rows)


def _object(value: Any, key: Key, where: str) -> dict[str, Any]:
    if not isinstance(value, Mapping):
        raise BadStep(f"{where}: must be an object with {', '.join(one.name for one in key.keys)}.")
    return values_of(value, key.keys, where)


_PARSERS: Mapping[Shape, Callable[[Any, Key, str], Any]] = {
    "number": _number,
    "whole": _whole,
    "text": _text,
    "label": _label,
    "flag": _flag,
    "numbers": _numbers,
    "rows": _rows,
    "object": _object,
}
_ASKED: Mapping[Shape, str] = {
    "number": "a number",
    "whole": "a whole number",
    "text": "a text",
    "label": "a name or a number",
    "flag": "true or false",
    "numbers": "a list of numbers",
    "rows": "a list of objects",
    "object": "an object",
}
