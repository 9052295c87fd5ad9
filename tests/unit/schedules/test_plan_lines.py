"""Criteria, bases and numbers as a page says them."""

import pytest
from django.core.exceptions import ValidationError

from schedules.rules import RATING_FIELDS
from schedules.selectors.nameplates import NAMED_ELSEWHERE, ORDER_OWNED, nameplate_fields, rating_lines
from schedules.selectors.plans import basis_line, bounds_in_words, quantity_in_words
from schedules.web.fields import LinesField, NumberField


@pytest.mark.parametrize(
    ("criterion", "words"),
    [
        ({"quantity": "apparent_charge_pc", "max": 100.0}, "at most 100 pC"),
        ({"quantity": "held_voltage_kv", "min": 24.25, "max": 25.75}, "24.25 to 25.75 kV"),
        ({"quantity": "held_s", "min": 60.0}, "at least 60 s"),
        ({"quantity": "disruptive_discharges", "max": 0.0}, "at most 0"),
        ({"quantity": "tuned_order", "nominal": 4.7, "tolerance_pct": 2.0}, "4.7 ± 2 %"),
        ({"quantity": "inception_voltage_kv"}, "stated only"),
    ],
)
def test_bounds_are_said_with_their_unit(criterion, words):
    assert bounds_in_words(criterion) == words


@pytest.mark.parametrize(
    ("quantity", "words"),
    [
        ("held_voltage_kv", "Held voltage"),
        ("held_s", "Hold time"),
        ("apparent_charge_pc", "Apparent charge"),
        ("tuned_order", "Tuned order"),
        ("time_to_extinction_s", "Time to extinction"),
    ],
)
def test_quantities_are_named_without_their_unit(quantity, words):
    assert quantity_in_words(quantity) == words


def test_a_basis_shows_its_value_in_full():
    line = basis_line({"of": "stages.measurement.voltage_kv", "result": 10.738715, "unit": "kV"})
    assert (line.of, line.value) == ("stages · measurement · voltage kv", "10.738715 kV")
    assert basis_line({"of": "x", "result": None, "unit": ""}).value == ""


@pytest.mark.parametrize(
    ("typed", "number"),
    [("15.5", 15.5), ("15,5", 15.5), (" 0,125 ", 0.125), ("-3", -3.0), ("1e3", 1000.0), ("", None)],
)
def test_numbers_are_read_as_engineers_type_them(typed, number):
    assert NumberField(required=False).clean(typed) == number


@pytest.mark.parametrize("typed", ["12,470", "1,2,3", "1.234,5", "fifteen", "nan", "inf", "15.5 kV", "１５ kV"])
def test_what_could_mean_two_things_is_refused(typed):
    with pytest.raises(ValidationError, match="is not a number"):
        NumberField().clean(typed)


def test_lines_are_a_list_without_blanks():
    field = LinesField(required=False)
    assert field.clean(" A \r\n\r\nB\n") == ["A", "B"]
    assert field.clean("") == []
    assert field.prepare_value(["A", "B"]) == "A\nB"


def test_a_nameplate_asks_for_nothing_that_the_order_settles():
    for equipment in ("series_reactor", "metal_enclosed_switchgear"):
        names = {field.name for field in nameplate_fields(equipment)}
        assert names.isdisjoint(ORDER_OWNED | NAMED_ELSEWHERE)
        assert names | ORDER_OWNED | NAMED_ELSEWHERE >= {
            field.name for field in RATING_FIELDS if equipment in field.kinds
        }


def test_nameplate_lines_come_in_the_order_of_the_fields_with_units():
    lines = rating_lines({"tests": ["routine", "type"], "highest_voltage_kv": 15.5, "phases": 3})
    assert [(line.label, line.value, line.unit) for line in lines] == [
        ("Highest voltage", 15.5, "kV"),
        ("Phases", 3, ""),
        ("Tests", "routine, type", ""),
    ]
