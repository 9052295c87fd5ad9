"""Cells of the phase-resolved pattern."""

from __future__ import annotations

import numpy as np
import pytest

from records.evaluation.phase_pattern import count_pattern, rounded_up


def test_each_pulse_is_in_its_cell():
    pattern = count_pattern(
        np.array([0.0, 89.9, 90.0, 359.9]), np.array([1.0, 4.9, 5.0, 10.0]), phase_cells=4, charge_cells=2, top_pc=10
    )
    assert pattern.counts.tolist() == [[2, 0], [0, 1], [0, 0], [0, 1]]
    assert (pattern.bottom_pc, pattern.top_pc, pattern.is_signed) == (0.0, 10, False)
    assert pattern.phase_edges_deg().tolist() == [0, 90, 180, 270, 360]
    assert pattern.charge_edges_pc().tolist() == [0, 5, 10]


@pytest.mark.parametrize(("phase", "cell"), [(360, 0), (-90, 3), (-1e-15, 0), (719.9, 3), (-360, 0), (450, 1)])
def test_whole_turns_are_taken_off(phase, cell):
    pattern = count_pattern(np.array([float(phase)]), np.array([1.0]), phase_cells=4, charge_cells=1)
    assert pattern.counts[:, 0].tolist().index(1) == cell


def test_signs_give_an_axis_both_ways_and_what_lies_beyond_is_outermost():
    pattern = count_pattern(np.zeros(4), np.array([-99.0, -1.0, 1.0, 30.0]), phase_cells=1, charge_cells=4, top_pc=10)
    assert pattern.counts.tolist() == [[1, 1, 1, 1]]
    assert pattern.bottom_pc == -10


def test_no_pulses_give_an_empty_pattern():
    assert count_pattern(np.array([]), np.array([])).pulses == 0


def test_it_agrees_with_a_histogram_of_two_axes():
    chance = np.random.default_rng(3)
    phase, charge = chance.uniform(0, 360, 5000), chance.normal(0, 40, 5000)
    pattern = count_pattern(phase, charge, phase_cells=36, charge_cells=20)
    edges = [pattern.phase_edges_deg(), pattern.charge_edges_pc()]
    assert np.array_equal(pattern.counts, np.histogram2d(phase, charge, edges)[0])


@pytest.mark.parametrize(
    ("phase", "charge", "cells", "words"),
    [
        ([1.0], [1.0, 2.0], 4, "differ in number"),
        ([np.nan], [1.0], 4, "not a finite number"),
        ([1.0], [np.inf], 4, "not a finite number"),
        ([1.0], [1.0], 0, "at least one cell"),
    ],
)
def test_what_cannot_be_counted_is_refused(phase, charge, cells, words):
    with pytest.raises(ValueError, match=words):
        count_pattern(np.array(phase), np.array(charge), phase_cells=cells)


@pytest.mark.parametrize(
    ("value", "top"), [(0, 1), (1, 1), (1.01, 1.5), (9, 10), (342.7, 400), (0.07, 0.08), (800, 800)]
)
def test_the_axis_ends_at_a_round_number(value, top):
    assert rounded_up(value) == pytest.approx(top)
