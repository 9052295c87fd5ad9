"""The calibration line and correction curves."""

from __future__ import annotations

import math

import numpy as np
import pytest

from equipment.metrology.corrections import CorrectionPoint, OutsideCalibratedRange, correction_curve
from equipment.metrology.lines import fit_line


def test_three_points_by_hand():
    # x = 0, 1, 2; y = 0, 1, 3: slope 3/2, level 4/3, residuals 1/6, −1/3, 1/6, sum of squares 1/6
    line = fit_line([0, 1, 2], [0, 1, 3])
    assert line.slope == pytest.approx(1.5)
    assert line.intercept == pytest.approx(-1 / 6)
    assert line.residual_deviation == pytest.approx(math.sqrt(1 / 6))
    assert line.slope_uncertainty == pytest.approx(math.sqrt(1 / 6 / 2))
    assert line.intercept_uncertainty == pytest.approx(math.sqrt(1 / 6 * (1 / 3 + 1 / 2)))
    assert line.covariance == pytest.approx(-1 / 6 / 2)
    assert line.r_squared == pytest.approx(1 - (1 / 6) / (14 / 3))
    assert (line.degrees_of_freedom, line.x_min, line.x_max) == (1, 0.0, 2.0)


def test_uncertainty_at_a_point_is_that_of_the_full_covariance():
    line = fit_line([0, 1, 2, 5], [0, 1, 3, 4])
    for x in (-1.0, 0.0, 3.7):
        variance = line.intercept_uncertainty**2 + (x * line.slope_uncertainty) ** 2 + 2 * x * line.covariance
        assert line.at(x).standard_uncertainty == pytest.approx(math.sqrt(variance))
        assert line.at(x).value == pytest.approx(line.intercept + line.slope * x)
    assert line.at(0).standard_uncertainty == pytest.approx(line.intercept_uncertainty)


def test_weighted_line_agrees_with_the_normal_equations():
    x, y, u = np.array([1.0, 2, 3, 4]), np.array([1.1, 1.9, 3.2, 3.9]), np.array([0.1, 0.2, 0.1, 0.4])
    design = np.column_stack([np.ones(4), x])
    covariance = np.linalg.inv(design.T @ np.diag(1 / u**2) @ design)
    a, b = covariance @ design.T @ (y / u**2)
    line = fit_line(x, y, u)
    assert (line.intercept, line.slope) == pytest.approx((a, b))
    assert line.intercept_uncertainty == pytest.approx(math.sqrt(covariance[0, 0]))
    assert line.slope_uncertainty == pytest.approx(math.sqrt(covariance[1, 1]))
    assert line.covariance == pytest.approx(covariance[0, 1])
    chi_squared = (((y - a - b * x) / u) ** 2).sum()
    assert line.residual_deviation == pytest.approx(math.sqrt(chi_squared / 2))


def test_far_from_the_origin_no_digits_are_lost():
    x = 1e9 + np.arange(5.0)
    line = fit_line(x, 3 + 0.25 * np.arange(5.0))
    assert line.slope == pytest.approx(0.25, rel=1e-14)
    assert line.at(1e9).value == pytest.approx(3, rel=1e-14)
    assert line.residual_deviation == pytest.approx(0, abs=1e-14)


def test_solving_for_x_returns_what_was_put_in():
    line = fit_line([0, 1, 2, 5], [0, 1, 3, 4])
    back = line.solved_for(line.at(1.3).value, 0.2)
    assert back.value == pytest.approx(1.3)
    assert back.standard_uncertainty == pytest.approx(
        math.hypot(line.at(1.3).standard_uncertainty, 0.2) / abs(line.slope)
    )


def test_level_points_have_no_coefficient_of_determination():
    line = fit_line([0, 1, 2], [4, 4, 4])
    assert math.isnan(line.r_squared)
    with pytest.raises(ValueError, match="without slope cannot be solved"):
        line.solved_for(4)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (([1, 2], [1, 2]), "at least 3 points"),
        (([1, 2, 3], [1, 2]), "of the same length"),
        (([1, 2, math.nan], [1, 2, 3]), "must be a finite number"),
        (([1, 2, 3], [1, 2, 3], [1, 0, 1]), "Every uncertainty must be above 0"),
        (([7, 7, 7], [1, 2, 3]), "All points lie at one x"),
        (([0, 0, 0], [1, 2, 3]), "All points lie at one x"),
    ],
)
def test_refused_points(arguments, message):
    with pytest.raises(ValueError, match=message):
        fit_line(*arguments)


def test_refused_questions_to_a_line():
    line = fit_line([0, 1, 2], [0, 1, 3])
    with pytest.raises(ValueError, match="x must be a finite number"):
        line.at(math.inf)
    with pytest.raises(ValueError, match="y must be finite"):
        line.solved_for(1, -0.1)


POINTS = [CorrectionPoint(20, 0.3, 0.04), CorrectionPoint(10, 0.1, 0.02), CorrectionPoint(40, -0.1, 0.09, 3)]


@pytest.mark.parametrize(
    ("reading", "correction", "u"),
    [(10, 0.1, 0.01), (12.5, 0.15, 0.02), (20, 0.3, 0.02), (30, 0.1, 0.03), (40, -0.1, 0.03)],
)
def test_correction_between_points(reading, correction, u):
    corrected = correction_curve(POINTS).apply(reading)
    assert corrected.correction == pytest.approx(correction)
    assert corrected.value == pytest.approx(reading + correction)
    assert corrected.standard_uncertainty == pytest.approx(u)


@pytest.mark.parametrize("reading", [9.99, 40.01, math.nan, math.inf])
def test_never_beyond_the_calibrated_range(reading):
    curve = correction_curve(POINTS)
    assert not curve.is_valid_at(reading)
    with pytest.raises(OutsideCalibratedRange, match="lies outside the calibrated range, 10 to 40"):
        curve.apply(reading)


def test_stated_range_keeps_the_outermost_correction():
    curve = correction_curve(POINTS, valid_from=5, valid_to=50)
    assert (curve.apply(5).correction, curve.apply(50).correction) == (0.1, -0.1)
    assert curve.apply(5).standard_uncertainty == 0.01


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: correction_curve([]), "at least one point"),
        (lambda: correction_curve([POINTS[0], POINTS[0]]), "may occur once"),
        (lambda: correction_curve(POINTS, valid_from=50), "range is empty"),
        (lambda: CorrectionPoint(1, math.nan, 0), "must be finite"),
        (lambda: CorrectionPoint(1, 0, -1), "at least 0"),
        (lambda: CorrectionPoint(1, 0, 1, 0), "coverage factor above 0"),
    ],
)
def test_refused_curves(call, message):
    with pytest.raises(ValueError, match=message):
        call()
