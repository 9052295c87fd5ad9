"""Certified line of NIST, intervals and scores (see SOURCE.md)."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from equipment.metrology.comparison import en_score
from equipment.metrology.intervals import shortening_factor
from equipment.metrology.lines import fit_line

NORRIS = Path(__file__).parent / "data" / "norris.dat"


def test_norris_certified_values():
    pairs = [[float(cell) for cell in row.split()] for row in NORRIS.read_text().splitlines()[60:96]]
    y, x = zip(*pairs, strict=True)
    line = fit_line(x, y)
    assert len(x) == 36
    # Certified to 15 digits; the tolerance is what double precision keeps of data in the hundreds with residuals of 1.
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-12)
    assert line.intercept_uncertainty == pytest.approx(0.232818234301152, rel=1e-12)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-14)
    assert line.slope_uncertainty == pytest.approx(0.429796848199937e-03, rel=1e-12)
    assert line.residual_deviation == pytest.approx(0.884796396144373, rel=1e-12)
    assert line.r_squared == pytest.approx(0.999993745883712, rel=1e-14)
    assert line.degrees_of_freedom == 34


@pytest.mark.parametrize(("a", "reliability", "b"), [(0.1, 0.95, 0.8365), (0.1, 0.90, 0.5759)])
def test_shortening_factor(a, reliability, b):
    assert shortening_factor(a, reliability) == pytest.approx(b, abs=0.00005)


def test_reliability_that_belongs_to_a_cut_of_055():
    assert shortening_factor(0.1, 0.8934) == pytest.approx(0.55, abs=0.0005)


def test_en_score():
    en = en_score(10.02, 0.03, 10.00, 0.02)  # 0.02 / √(0.03² + 0.02²) = 2/√13
    assert en.score == pytest.approx(0.5547, abs=0.00005)
    assert en.score == pytest.approx(2 / math.sqrt(13))
    assert en.is_satisfactory
