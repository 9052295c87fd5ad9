"""Measured points of interpolated sweeps: found again, or said to be lost, and never seen where there are none."""

from __future__ import annotations

import numpy as np
import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.sweep.knots import Interpolated, measured_points
from records.evaluation.sweep.synthesis import SeriesBranch, impedance_of, synthesise_sweep
from records.readers.recording import Recording
from tests.unit.records.evaluation.sweep.test_examining import BRANCHES, SETUP, found, order, step

AXES = {"frequency": (np.asarray, np.asarray), "the logarithm of frequency": (np.log, np.exp)}
MEASURED = synthesise_sweep(BRANCHES, seed=4, points=300, noise_db=0.05, noise_deg=0.3)
FREQUENCY = MEASURED.channels["frequency_hz"]


def finer(times, channels, axis="frequency", digits=7):
    """Return a sweep with straight lines between its samples; a whole number of times keeps these among the new."""
    way, back = AXES[axis]
    x = way(FREQUENCY)
    if times == int(times):
        new = np.interp(np.arange((len(x) - 1) * int(times) + 1) / times, np.arange(len(x)), x)
    else:
        new = np.linspace(x[0], x[-1], round(times * len(x)))
    made = {name: np.interp(new, x, values) for name, values in channels.items()}
    whole = {"frequency_hz": back(new), **made}
    return {name: np.array([float(f"{value:.{digits}g}") for value in values]) for name, values in whole.items()}


def recording(channels):
    return Recording(np.empty(0), channels)


def polar():
    return {name: MEASURED.channels[name] for name in ("impedance_ohm", "phase_deg")}


def parts():
    whole = impedance_of(FREQUENCY, BRANCHES) * (1 + 0.01 * np.random.default_rng(3).standard_normal(300))
    return {"impedance_real_ohm": whole.real.copy(), "impedance_imag_ohm": whole.imag.copy()}


def decibels():
    return {"gain_db": -20 * np.log10(MEASURED.channels["impedance_ohm"])}


@pytest.mark.parametrize("axis", list(AXES))
@pytest.mark.parametrize("form", [polar, parts, decibels])
@pytest.mark.parametrize("times", [2, 4])
def test_points_among_the_samples_are_found(times, form, axis):
    seen = measured_points(recording(finer(times, form(), axis)))
    assert f"of {299 * times + 1} samples was interpolated from 300 by straight lines" in seen.words
    assert f"over {axis}:" in seen.words
    for name, values in form().items():
        np.testing.assert_allclose(seen.recording.channels[name], values, rtol=1e-6)
    np.testing.assert_allclose(seen.recording.channels["frequency_hz"], FREQUENCY, rtol=1e-6)


@pytest.mark.parametrize("form", [polar, parts, decibels])
def test_points_between_the_samples_are_where_the_lines_meet(form):
    """Seven digits; the ends of the sweep are no points, because no line runs beyond them.

    Values lie on the measured line to a few parts in 10⁴ of the greatest; a place is as sure as the turn of the line is
    clear, so one that hardly turns may lie anywhere on it, which alters nothing.
    """
    seen = measured_points(recording(finer(5.3, form(), "the logarithm of frequency"))).recording
    assert abs(seen.rows - 298) <= 1
    for name, values in form().items():
        on_line = np.interp(np.log(seen.channels["frequency_hz"]), np.log(FREQUENCY), values)
        np.testing.assert_allclose(seen.channels[name], on_line, rtol=1e-4, atol=1e-3)
    away = np.abs(np.log(seen.channels["frequency_hz"][:, None] / FREQUENCY)).min(axis=1) / np.log(100) * 299
    assert np.count_nonzero(away > 0.02) <= 1  # in steps between measured points


def test_a_magnitude_may_have_been_straight_in_decibels():
    channels = finer(4, {"level": 20 * np.log10(polar()["impedance_ohm"])}, digits=15)
    size = np.array([float(f"{value:.6g}") for value in 10 ** (channels["level"] / 20)])
    seen = measured_points(recording({"frequency_hz": channels["frequency_hz"], "impedance_ohm": size}))
    assert "from 300 by straight lines in decibels over frequency" in seen.words


def test_points_that_are_lost_are_said_to_be():
    with pytest.raises(Interpolated, match="are not found in it"):
        measured_points(recording(finer(2.5, polar(), "the logarithm of frequency")))
    evaluation = evaluate(step(order(4.7)), [recording(finer(2.5, polar(), "the logarithm of frequency"))], SETUP)
    assert evaluation.verdict == "inconclusive"
    assert "Export these" in found(evaluation, "tuned_order")[0].reason


def test_the_evaluation_is_that_of_the_measured_points():
    """A sample that rounding bends may be taken for a point beside the 300: that moves a value by little of its U."""
    limits = (order(4.7), order(6.8), order(11.6))
    fine, plain = (
        evaluate(step(*limits), [record], SETUP) for record in (recording(finer(4, polar(), digits=9)), MEASURED)
    )
    assert fine.rows == 1197
    assert any("by straight lines in magnitude over frequency" in said for said in fine.remarks)
    for one, other in zip(fine.findings, plain.findings, strict=True):
        assert one.value == pytest.approx(other.value, abs=0.1 * other.expanded_uncertainty)
        assert one.expanded_uncertainty == pytest.approx(other.expanded_uncertainty, rel=0.05)


@pytest.mark.parametrize("points", [100, 500, 2000])
@pytest.mark.parametrize("noise_db", [0.0, 0.001, 0.01, 0.1])
@pytest.mark.parametrize("digits", [4, 6, 9, 16])
def test_measured_sweeps_are_left_as_they_are(points, noise_db, digits):
    """Smooth ones, noisy ones, and those whose last digit is greater than their noise."""
    record = synthesise_sweep(BRANCHES, seed=9, points=points, noise_db=noise_db, noise_deg=6 * noise_db)
    written = {
        name: np.array([float(f"{value:.{digits}g}") for value in values]) for name, values in record.channels.items()
    }
    written["frequency_hz"] = record.channels["frequency_hz"]
    whole = recording(written)
    assert measured_points(whole).recording is whole


@pytest.mark.parametrize("decimals", [1, 2, 3])
@pytest.mark.parametrize("noise_db", [0.0, 0.005, 0.02, 0.1])
def test_decibels_in_steps_are_left_as_they_are(decimals, noise_db):
    record = synthesise_sweep(BRANCHES, seed=9, noise_db=noise_db)
    level = np.round(20 * np.log10(record.channels["impedance_ohm"]), decimals)
    whole = recording({"frequency_hz": record.channels["frequency_hz"], "gain_db": level})
    assert measured_points(whole).recording is whole


def test_a_smoothed_sweep_is_widened_and_says_so():
    """Of a mean of three, neighbours are alike by 2/3 and 1/3: 1 + 2 (2/3 + 1/3) = 3 times the variance of a mean."""
    branch = SeriesBranch.tuned(500, 8, 5.0)
    frequency = np.geomspace(50, 5000, 800)
    noise = np.convolve(np.random.default_rng(8).standard_normal(802), np.ones(3) / 3, mode="valid")
    size = np.abs(branch.impedance(frequency)) * 10 ** (0.1 * noise / 20)
    evaluation = evaluate(step(), [recording({"frequency_hz": frequency, "impedance_ohm": size})], SETUP)
    said = next(remark for remark in evaluation.remarks if "Neighbouring samples are alike" in remark)
    assert float(said.split("widened ")[1].split("-fold")[0]) == pytest.approx(3**0.5, rel=0.2)
