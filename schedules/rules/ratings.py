"""Reads ratings: every key known, every value of its type and inside what is physically possible."""

from __future__ import annotations

import math
from collections.abc import Mapping
from difflib import get_close_matches
from typing import Any

from equipment.metrology.conformity import has_guard_band
from schedules.rules.errors import BadRatings
from schedules.rules.vocabulary import BRANCH_RATINGS, EQUIPMENT_KINDS, FIELDS_BY_NAME, RatingField

_LONGEST_TEXT = 200
_MOST_WORDS = 30


def read_ratings(given: object) -> dict[str, Any]:
    """Return the ratings with every value checked against the field it belongs to.

    Parameters
    ----------
    given : object
        What was entered; must be a mapping from rating names to values. None stands for "not stated".

    Returns
    -------
    dict[str, Any]
        Numbers as float (``phases`` as int), words as str, lists as tuples; what was not stated is left out.

    Raises
    ------
    BadRatings
        Not a mapping, an unknown key, a wrong type, a number that is not finite or out of range, a word that is not one
        of the choices, a field that this equipment does not have, or no voltage at all. It names the key and the mend.

    Examples
    --------
    >>> read_ratings({"equipment": "bushing", "highest_voltage_kv": 24})["highest_voltage_kv"]
    24.0
    """
    if not isinstance(given, Mapping):
        raise BadRatings("ratings", "is not an object", 'write {"equipment": …, "highest_voltage_kv": …}')
    ratings = {key: _read(key, value) for key, value in given.items() if value is not None or key not in FIELDS_BY_NAME}
    if "equipment" not in ratings:
        raise BadRatings("equipment", "is missing", f"give one of {', '.join(EQUIPMENT_KINDS)}")
    for key in ratings:
        if ratings["equipment"] not in FIELDS_BY_NAME[key].kinds:
            raise BadRatings(key, f"is no rating of {ratings['equipment']}", "leave it out or correct the equipment")
    _check_together(ratings)
    return ratings


def _read(key: object, value: object) -> object:
    if not isinstance(key, str) or key not in FIELDS_BY_NAME:
        near = get_close_matches(str(key), FIELDS_BY_NAME, n=1)
        mend = f"did you mean {near[0]}?" if near else f"leave it out; known are {', '.join(FIELDS_BY_NAME)}"
        raise BadRatings(str(key)[:60], "is not a known rating", mend)
    field = FIELDS_BY_NAME[key]
    if field.form in ("number", "whole"):
        return _number(field, value)
    if field.form in ("texts", "choices"):
        return _words(field, value)
    if field.form == "branches":
        return _branches(value)
    return _word(field, value, field.name)


def _number(field: RatingField, value: object) -> float | int:
    unit = f" {field.unit}" if field.unit else ""
    mend = f"give a number from {field.least:g} to {field.most:g}{unit}"
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise BadRatings(field.name, f"is {_told(value)}, not a number", mend)
    if not math.isfinite(value) if isinstance(value, float) else abs(value) > 10**15:
        raise BadRatings(field.name, "is not a finite number of sensible size", mend)
    if not field.least <= value <= field.most:
        raise BadRatings(field.name, f"is {value:g}{unit}, outside what is possible", mend)
    if field.form == "whole":
        if value not in (1, 3):
            raise BadRatings(field.name, f"is {value:g}", "give 1 or 3")
        return int(value)
    return float(value)


def _word(field: RatingField, value: object, place: str) -> str:
    if not isinstance(value, str):
        raise BadRatings(place, f"is {_told(value)}, not a text", "give it in quotation marks")
    if field.choices and value not in field.choices:
        near = get_close_matches(value, field.choices, n=1)
        mend = f"did you mean {near[0]}?" if near else f"give one of {', '.join(field.choices)}"
        raise BadRatings(place, f"{value[:60]!r} is not one of its choices", mend)
    if not value.strip() or len(value) > _LONGEST_TEXT or not value.isprintable():
        raise BadRatings(
            place, "is empty, too long or not printable", f"give up to {_LONGEST_TEXT} printable characters"
        )
    return value


def _words(field: RatingField, value: object) -> tuple[str, ...]:
    if not isinstance(value, list | tuple):
        raise BadRatings(field.name, f"is {_told(value)}, not a list", 'give a list of texts, such as ["…"]')
    if len(value) > _MOST_WORDS:
        raise BadRatings(field.name, f"has {len(value)} entries", f"give at most {_MOST_WORDS}")
    return tuple(dict.fromkeys(_word(field, word, f"{field.name}[{index}]") for index, word in enumerate(value)))


def _branches(value: object) -> tuple[dict[str, float], ...]:
    """Return the ratings of each branch; only numbers that a branch can have are known there."""
    if not isinstance(value, list | tuple) or not value:
        raise BadRatings("branches", "is no list of branches", 'give a list, such as [{"tuned_order": 4.7}]')
    if len(value) > _MOST_WORDS:
        raise BadRatings("branches", f"has {len(value)} entries", f"give at most {_MOST_WORDS}")
    return tuple(_branch(one, f"branches[{place}]") for place, one in enumerate(value))


def _branch(value: object, place: str) -> dict[str, float]:
    if not isinstance(value, Mapping) or not value:
        raise BadRatings(place, "is not an object with numbers", f"give some of {', '.join(BRANCH_RATINGS)}")
    unknown = next((key for key in value if key not in BRANCH_RATINGS), None)
    if unknown is not None:
        mend = f"leave it out; a branch has {', '.join(BRANCH_RATINGS)}"
        raise BadRatings(f"{place}.{str(unknown)[:60]}", "is no rating of a branch", mend)
    try:
        return {key: float(_number(FIELDS_BY_NAME[key], one)) for key, one in value.items()}
    except BadRatings as refused:
        raise BadRatings(f"{place}.{refused.key}", refused.problem, refused.mend) from None


def _check_together(ratings: Mapping[str, Any]) -> None:
    if not {"highest_voltage_kv", "rated_voltage_kv", "lightning_impulse_kv"} & set(ratings):
        raise BadRatings("highest_voltage_kv", "is missing", "give the highest voltage in kV (or rated_voltage_kv)")
    if ratings.get("tests") == ():
        known = ", ".join(FIELDS_BY_NAME["tests"].choices)
        raise BadRatings("tests", "names no class of test", f"give some of {known}, or leave it out")
    highest, rated = ratings.get("highest_voltage_kv"), ratings.get("rated_voltage_kv")
    if highest is not None and rated is not None and rated > highest:
        raise BadRatings(
            "rated_voltage_kv", f"is {rated:g} kV, above the highest voltage {highest:g} kV", "correct one of the two"
        )
    own_rule = ratings.get("decision_rule") == "customer_defined"
    if own_rule != ("guard_factor" in ratings):
        problem = "is missing" if own_rule else "belongs to the rule customer_defined only"
        raise BadRatings("guard_factor", problem, "give r of w = r·U together with decision_rule customer_defined")
    if ratings.get("statements") == "four_states" and not has_guard_band(
        ratings.get("decision_rule", "simple_acceptance"), ratings.get("guard_factor")
    ):
        raise BadRatings(
            "statements", "are of four states, but the rule has no guard band", "agree a rule that has one"
        )
    both = set(ratings.get("hold_points", ())) & set(ratings.get("witness_points", ()))
    if both:
        raise BadRatings("witness_points", f"names {min(both)}, which is a hold point too", "name it in one of the two")


def _told(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    names = {
        str: "a text",
        list: "a list",
        tuple: "a list",
        dict: "an object",
        type(None): "null",
        int: "a number",
        float: "a number",
    }
    return names.get(type(value), "something else")
