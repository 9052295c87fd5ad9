"""Ratings that are wrong are refused with their key and the mend."""

from __future__ import annotations

import math

import pytest

from schedules.rules import RATING_FIELDS, BadRatings, derive_plan
from schedules.rules.ratings import read_ratings

GOOD = {"equipment": "series_reactor", "highest_voltage_kv": 15.5, "lightning_impulse_kv": 110}


@pytest.mark.parametrize("given", [None, [], "text", 3, True])
def test_not_an_object(given):
    with pytest.raises(BadRatings, match=r"^ratings: is not an object; write "):
        read_ratings(given)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"equipment": None}, "equipment: is missing; give one of series_reactor, "),
        (
            {"equipment": "series_reacter"},
            "equipment: 'series_reacter' is not one of its choices; did you mean series_reactor?",
        ),
        ({"equipment": 3}, "equipment: is a number, not a text; "),
        (
            {"highest_voltage_kv": "15.5"},
            "highest_voltage_kv: is a text, not a number; give a number from 0.1 to 1200 kV",
        ),
        ({"highest_voltage_kv": True}, "highest_voltage_kv: is true, not a number; "),
        ({"highest_voltage_kv": [15.5]}, "highest_voltage_kv: is a list, not a number; "),
        ({"highest_voltage_kv": {}}, "highest_voltage_kv: is an object, not a number; "),
        ({"highest_voltage_kv": math.nan}, "highest_voltage_kv: is not a finite number"),
        ({"highest_voltage_kv": -math.inf}, "highest_voltage_kv: is not a finite number"),
        ({"highest_voltage_kv": 10**400}, "highest_voltage_kv: is not a finite number"),
        ({"highest_voltage_kv": -15.5}, "highest_voltage_kv: is -15.5 kV, outside what is possible; "),
        ({"highest_voltage_kv": 0}, "highest_voltage_kv: is 0 kV, outside what is possible; "),
        ({"higest_voltage_kv": 15.5}, "higest_voltage_kv: is not a known rating; did you mean highest_voltage_kv?"),
        ({"colour": "grey"}, "colour: is not a known rating; leave it out; known are equipment, "),
        ({7: 1}, "7: is not a known rating"),
        ({"phases": 2}, "phases: is 2; give 1 or 3"),
        ({"phases": 1.5}, "phases: is 1.5; give 1 or 3"),
        ({"standards": "IEEE C37.20.3"}, "standards: is a text, not a list; "),
        ({"standards": ["IEC 62271-1", 5]}, "standards[1]: is a number, not a text; "),
        ({"standards": [""]}, "standards[0]: is empty, too long or not printable; "),
        ({"standards": ["a"] * 31}, "standards: has 31 entries; give at most 30"),
        ({"tests": ["rutine"]}, "tests[0]: 'rutine' is not one of its choices; did you mean routine?"),
        ({"serial": "a\nb"}, "serial: is empty, too long or not printable; "),
        ({"rated_voltage_kv": 20}, "rated_voltage_kv: is 20 kV, above the highest voltage 15.5 kV; "),
        ({"rated_current_ka": 20}, "rated_current_ka: is no rating of series_reactor; "),
        ({"decision_rule": "customer_defined"}, "guard_factor: is missing; "),
        ({"statements": "four_states"}, "statements: are of four states, but the rule has no guard band; "),
        ({"guard_factor": 0.5}, "guard_factor: belongs to the rule customer_defined only; "),
        (
            {"hold_points": ["partial_discharge"], "witness_points": ["partial_discharge"]},
            "witness_points: names partial_discharge, which is a hold point too; ",
        ),
    ],
)
def test_refused(change, message):
    with pytest.raises(BadRatings) as refused:
        derive_plan(GOOD | change)
    assert str(refused.value).startswith(message)
    assert refused.value.key in message
    assert refused.value.mend


def test_no_voltage():
    with pytest.raises(BadRatings, match=r"^highest_voltage_kv: is missing; give the highest voltage in kV"):
        read_ratings({"equipment": "series_reactor"})


def test_none_stands_for_not_stated():
    assert read_ratings(GOOD | {"altitude_m": None}) == {
        **GOOD,
        "highest_voltage_kv": 15.5,
        "lightning_impulse_kv": 110.0,
    }


def test_every_field_tells_what_to_write():
    names = [field.name for field in RATING_FIELDS]
    assert len(set(names)) == len(names)
    assert [field.name for field in RATING_FIELDS if not (field.label and field.help and field.kinds)] == []
    assert [field.name for field in RATING_FIELDS if field.form.startswith("choice") and not field.choices] == []
