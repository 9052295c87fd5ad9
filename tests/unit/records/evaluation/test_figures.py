"""How findings are shown: rounded to their uncertainty, counts whole, what has no limit only reported."""

from __future__ import annotations

import pytest

from records.certificates import wording
from records.evaluation.figures import Figure, figure_of, limits_in_words, word_of


@pytest.mark.parametrize(
    ("quantity", "value", "uncertainty", "unit", "shown"),
    [
        ("apparent_charge_pc", 342.718, 17.1, "pC", Figure("343", "17", "pC")),
        ("apparent_charge_pc", 342.718, None, "pC", Figure("342.7", "–", "pC")),
        ("held_voltage_kv", 30.0, 0.9, "kV", Figure("30.00", "0.90", "kV")),
        ("held_voltage_kv", 30.0, None, "kV", Figure("30", "–", "kV")),
        ("disruptive_discharges", 0.0, None, "", Figure("0", "–", "")),
        ("disruptive_discharges", 2.0, None, "", Figure("2", "–", "")),
        ("impulses", 15.0, None, "", Figure("15", "–", "")),
        ("average_discharge_current_a", 18.0e-9, 0.54e-9, "A", Figure("18.00", "0.54", "nA")),
        ("discharge_power_w", 0.209e-3, None, "W", Figure("209", "–", "µW")),
        ("discharge_power_w", -2.5, None, "W", Figure("−2.5", "–", "W")),
        ("quadratic_rate_c2_per_s", 1.72e-18, 0.1e-18, "C²/s", Figure("1720000", "100000", "pC²/s")),
        ("inception_voltage_kv", None, None, "kV", Figure("–", "–", "kV")),
        ("inception_voltage_kv", float("nan"), None, "kV", Figure("–", "–", "kV")),
    ],
)
def test_a_figure(quantity, value, uncertainty, unit, shown):
    assert figure_of(quantity, value, uncertainty, unit) == shown


@pytest.mark.parametrize(
    ("verdict", "judges", "minimum", "maximum", "word"),
    [
        ("conforms", "unit", None, None, "reported"),
        ("conforms", "test", None, None, "reported"),
        ("conforms", "test", 1.0, None, "valid"),
        ("conforms", "unit", None, 100.0, ""),
        ("does_not_conform", "unit", None, 100.0, ""),
        ("not_valid", "unit", None, None, ""),
        ("inconclusive", "unit", None, None, ""),
    ],
)
def test_what_has_no_limit_is_reported_and_does_not_conform_to_anything(verdict, judges, minimum, maximum, word):
    assert word_of(verdict, judges, minimum, maximum) == word


@pytest.mark.parametrize(
    ("minimum", "maximum", "unit", "words"),
    [
        (None, None, "kV", "reported only"),
        (None, 100.0, "pC", "≤ 100\N{THIN SPACE}pC"),
        (60.0, None, "s", "≥ 60\N{THIN SPACE}s"),
        (0.84, 1.56, "µs", "0.84 to 1.56\N{THIN SPACE}µs"),
        (None, 0.0, "", "≤ 0"),
        (None, 5e-9, "A", "≤ 5\N{THIN SPACE}nA"),
    ],
)
def test_limits(minimum, maximum, unit, words):
    assert limits_in_words(minimum, maximum, unit) == words


def finding(quantity, value, uncertainty, unit):
    return {"quantity": quantity, "value": value, "expanded_uncertainty": uncertainty, "unit": unit}


def test_a_certificate_shows_the_same_figures():
    count = finding("disruptive_discharges", 0.0, None, "")
    assert (wording.figure(count), wording.figure_unit(count)) == ("0", "")
    current = finding("average_discharge_current_a", 18.0e-9, 0.54e-9, "A")
    assert (wording.figure(current), wording.figure_unit(current)) == ("18.00 ± 0.54", "nA")
    assert wording.figure(finding("extinction_voltage_kv", None, None, "kV")) == "not determined"
    assert wording.limit_words(None, 5e-9, "A") == "at most 5 nA"
    assert wording.limit_words(60.0, None, "s") == "at least 60 s"
    assert wording.limit_words(29.1, 30.9, "kV") == "29.1 to 30.9 kV"
    assert wording.limit_words(None, None, "kV") == "reported only"
    assert wording.split_name("repetition_rate_per_s")[0] == "Pulse repetition rate"
