"""Values and uncertainties as text."""

from __future__ import annotations

import math

import pytest

from equipment.metrology.rounding import Rounded, rounded


@pytest.mark.parametrize(
    ("value", "uncertainty", "texts"),
    [
        (10000.1780008, 0.016656, ("10000.178", "0.017", 3)),
        (50000838.0, 92.48, ("50000838", "92", 0)),
        (123456.0, 1234.0, ("123500", "1200", -2)),
        (18.71, 0.1, ("18.71", "0.10", 2)),
        (18.71, 0.0996, ("18.71", "0.10", 2)),  # 0.0996 rounds to 0.100, which has three digits
        (18.74, 9.96, ("19", "10", 0)),
        (18.74, 0.105, ("18.74", "0.11", 2)),  # half goes up
        (18.74, 0.1049, ("18.74", "0.10", 2)),
        (2.5, 10, ("2", "10", 0)),  # half of the value goes to the even digit
        (3.5, 10, ("4", "10", 0)),
        (-0.04, 12, ("0", "12", 0)),  # no minus before a zero
        (-12.345, 0.12, ("-12.34", "0.12", 2)),
        (5, 1.2e-9, ("5.0000000000", "0.0000000012", 10)),
        (4, 2e7, ("0", "20000000", -6)),
    ],
)
def test_two_digits(value, uncertainty, texts):
    assert rounded(value, uncertainty) == Rounded(*texts)


@pytest.mark.parametrize(
    ("uncertainty", "text"),
    [(1.04, "1"), (1.06, "2"), (1.4, "2"), (1.5, "2"), (8.4, "8"), (9.4, "9"), (9.6, "10"), (0.34, "0.4")],
)
def test_one_digit_rounds_up_where_the_nearest_loses_more_than_five_percent(uncertainty, text):
    # 1.06 → 1 loses 5.7 %; 8.4 → 8 loses 4.8 %; 0.34 → 0.3 loses 12 %
    assert rounded(5, uncertainty, digits=1).uncertainty_text == text


@pytest.mark.parametrize(
    ("value", "text", "decimals"),
    [
        (12.3456, "12.35", 2),
        (99999.0, "100000", -2),
        (0.00123456, "0.001235", 6),
        (0, "0.000", 3),
        (123456, "123500", -2),
    ],
)
def test_without_uncertainty(value, text, decimals):
    assert rounded(value, None) == Rounded(text, "", decimals)


def test_exactly_known():
    assert rounded(12.3456, 0.0) == Rounded("12.35", "0", 2)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((math.nan, 1), "not finite"),
        ((1, math.inf), "must be a finite number"),
        ((1, -1), "must be a finite number"),
        ((1, math.nan), "must be a finite number"),
    ],
)
def test_refusals(arguments, message):
    with pytest.raises(ValueError, match=message):
        rounded(*arguments)


def test_refused_digits():
    with pytest.raises(ValueError, match="1 or 2 significant digits"):
        rounded(1, 1, digits=3)
