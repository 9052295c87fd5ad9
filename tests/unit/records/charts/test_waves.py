"""Pictures of impulses and sweeps: the same points in browser and document, units on axes, limits behind the data."""

from __future__ import annotations

import itertools
import json
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from records.charts.plot import Curve, Pane, Plot, Region, ticks_between
from records.charts.plot_browser import plot_figure
from records.charts.plot_vector import plot_svg
from records.charts.waves import impulse_plot, sweep_plot
from records.evaluation.evaluating import evaluate
from records.evaluation.impulse.synthesis import Disturbance, synthesise_impulse, wave_with_crest
from records.evaluation.sweep.synthesis import SeriesBranch, synthesise_sweep
from records.readers.recording import Recording

SVG = "{http://www.w3.org/2000/svg}"
STEP = {
    "kind": "lightning_impulse",
    "stages": [{"name": "full", "voltage_kv": 125, "tolerance_pct": 3, "polarity": "negative"}],
}
SWEEP_STEP = {
    "kind": "frequency_response",
    "procedure": {
        "frequency_hz": 60,
        "criteria": [
            {"quantity": "tuned_order", "nominal": 4.7, "tolerance_pct": 2},
            {"quantity": "resonance_hz", "min": 400, "max": 420},
            {"quantity": "quality_factor", "min": 20},
        ],
    },
}
BRANCHES = (SeriesBranch.tuned(282.5, 60, 6.37), SeriesBranch.tuned(408.0, 80, 4.0))


def kept(evaluation, name):
    """Return what the evaluation keeps of its first record, as the database gives it back."""
    return json.loads(json.dumps(evaluation.as_dict()))["details"][name][0]


def impulse_picture(crest_kv=-125.0, **options):
    noise = Disturbance(noise=0.003, offset_kv=1.0)
    record = synthesise_impulse(wave_with_crest(crest_kv), seed=1, disturbance=noise, **options)
    channels = {"time_s": record.time_s, **record.channels}
    return impulse_plot(channels, kept(evaluate(STEP, [record]), "impulses"), STEP)


def sweep_picture(record=None):
    record = record or synthesise_sweep(BRANCHES, seed=1, noise_db=0.05, noise_deg=0.2)
    return sweep_plot(record.channels, kept(evaluate(SWEEP_STEP, [record]), "sweeps"), SWEEP_STEP)


def test_an_impulse_has_its_three_curves_and_its_marks_where_they_belong():
    plot = impulse_picture()
    whole, front = plot.panes
    assert [curve.name for curve in whole.curves] == ["recorded", "base curve", "test-voltage curve"]
    assert [point.words for point in whole.points] == ["30 %", "90 %", "50 %"]
    curve = whole.curves[2]
    for point in whole.points:  # on the curve: its base level is 1 kV, and straight lines join its samples
        assert point.y == pytest.approx(np.interp(point.x, curve.x, curve.y), abs=0.3)
    assert [point.y for point in whole.points] == pytest.approx([1 - 125 * share for share in (0.3, 0.9, 0.5)], abs=0.2)
    assert (front.is_detail, [point.words for point in front.points]) == (True, ["30 %", "90 %"])


def test_the_band_of_the_set_point_stands_on_the_side_of_the_polarity():
    region = impulse_picture().panes[0].regions[0]
    assert region.words == "Full 125 kV ± 3 %"
    assert region.y == pytest.approx((1 - 128.75, 1 - 121.25), abs=0.1)  # the base level is read from noise


def test_an_impulse_chopped_on_its_front_shows_its_record_alone():
    plot = impulse_picture(chopped_after_us=0.8)
    assert [curve.name for curve in plot.panes[0].curves] == ["recorded"]
    assert "chopped at 5.8 µs" in plot.words


def test_an_impulse_chopped_on_its_tail_has_its_curves_up_to_the_chopping():
    plot = impulse_picture(chopped_after_us=6.0)
    recorded, _, curve = plot.panes[0].curves
    after = curve.x > 11.05
    np.testing.assert_array_equal(curve.y[after], recorded.y[after])
    assert float(np.abs(curve.y - recorded.y).max()) < 3  # noise before the chopping, nothing at it


def test_a_record_that_is_no_impulse_still_has_its_picture():
    time_s = np.arange(1000) * 1e-8
    record = Recording(time_s, {"voltage_kv": np.zeros(1000)})
    plot = impulse_plot(
        {"time_s": time_s, "voltage_kv": np.zeros(1000)}, kept(evaluate(STEP, [record]), "impulses"), STEP
    )
    ET.fromstring(plot_svg(plot))
    assert plot.words.startswith("An impulse that could not be evaluated: All samples are 0 kV")


def test_a_sweep_has_its_branches_and_the_windows_of_the_plan():
    plot = sweep_picture()
    level, phase = plot.panes
    assert [curve.name for curve in level.curves] == ["recorded", "branch 1", "branch 2", "fitted"]
    assert [region.words for region in level.regions] == ["4.7 ± 2 %", "allowed"]
    assert level.regions[0].x == pytest.approx((4.606 * 60, 4.794 * 60))
    assert level.regions[1].x == (400, 420)
    assert (level.y_title, level.x_title, phase.y_title) == ("Impedance (Ω)", "Frequency (Hz)", "Phase (°)")
    fitted, recorded = level.curves[3], level.curves[0]
    np.testing.assert_allclose(fitted.y, recorded.y, rtol=0.03)
    assert "series resonances at 282.5 Hz (6.3" in plot.words


def test_a_transfer_is_drawn_in_decibels():
    frequency = np.geomspace(10, 1e5, 300)
    record = Recording(np.empty(0), {"frequency_hz": frequency, "gain_db": -20 * np.log10(frequency)})
    plot = sweep_picture(record)
    assert [pane.y_title for pane in plot.panes] == ["Transfer (dB)"]
    assert not plot.panes[0].is_log_y


def test_a_transfer_into_a_known_resistance_has_its_branches():
    frequency = np.geomspace(50, 5000, 500)
    impedance = 1 / sum(1 / branch.impedance(frequency) for branch in BRANCHES)
    level = 20 * np.log10(np.abs(2 / (impedance + 2)))
    record, step = Recording(np.empty(0), {"frequency_hz": frequency, "gain_db": level}), {**SWEEP_STEP}
    step["termination_ohm"] = 2
    plot = sweep_plot(record.channels, kept(evaluate(step, [record]), "sweeps"), step)
    assert [pane.y_title for pane in plot.panes] == ["Transfer (dB)"]
    recorded, *branches, fitted = plot.panes[0].curves
    np.testing.assert_allclose(fitted.y, recorded.y, atol=1e-6)
    for curve, branch in zip(branches, BRANCHES, strict=True):
        alone = 20 * np.log10(np.abs(2 / (branch.impedance(frequency) + 2)))
        np.testing.assert_allclose(curve.y, alone, atol=1e-6)
    assert plot.words.startswith("Transfer in dB against frequency")


def test_an_impedance_without_phase_has_one_pane():
    record = synthesise_sweep(BRANCHES, seed=1, noise_db=0.05)
    bare = Recording(np.empty(0), {name: record.channels[name] for name in ("frequency_hz", "impedance_ohm")})
    plot = sweep_picture(bare)
    assert [pane.y_title for pane in plot.panes] == ["Impedance (Ω)"]
    assert [curve.name for curve in plot.panes[0].curves] == ["recorded", "branch 1", "branch 2", "fitted"]


def test_a_reflection_is_drawn_as_the_impedance_that_was_judged():
    frequency = np.geomspace(50, 5000, 500)
    impedance = 1 / sum(1 / branch.impedance(frequency) for branch in BRANCHES)
    reflection = (impedance - 50) / (impedance + 50)
    channels = {
        "frequency_hz": frequency,
        "reflection_real": reflection.real.copy(),
        "reflection_imag": reflection.imag.copy(),
    }
    plot = sweep_picture(Recording(np.empty(0), channels, {"reference_ohm": "50"}))
    np.testing.assert_allclose(plot.panes[0].curves[0].y, np.abs(impedance), rtol=1e-9)


@pytest.mark.parametrize("picture", [impulse_picture, sweep_picture])
def test_print_and_browser_draw_the_same_thinned_points(picture):
    plot = picture()
    root, shown = ET.fromstring(plot_svg(plot)), plot_figure(plot)
    lines = [trace for trace in shown["data"] if trace["mode"] == "lines"]
    paths = root.findall(f"{SVG}path")
    assert len(paths) == len(lines)
    thinned = [curve for pane in plot.thinned().panes for curve in pane.curves]
    assert [len(trace["x"]) for trace in lines] == [len(curve.x) for curve in thinned]
    recorded = re.findall(r"[ML]", paths[0].get("d"))
    assert len(recorded) == len(lines[0]["x"]) <= 1200
    assert not list(root.iter(f"{SVG}style")) + list(root.iter(f"{SVG}script"))
    assert root.find(f"{SVG}title").text == plot.words
    json.dumps(shown, allow_nan=False)


@pytest.mark.parametrize("picture", [impulse_picture, sweep_picture])
def test_colours_are_tokens_units_are_on_axes_and_no_axis_lies_over_another(picture):
    shown = plot_figure(picture())
    assert re.findall(r"#[0-9a-f]{3,6}|rgb\(", str(shown)) == []
    axes = {name: axis for name, axis in shown["layout"].items() if name.startswith("yaxis")}
    assert all("(" in axis["title"]["text"] and "overlaying" not in axis for axis in axes.values())
    domains = sorted(axis["domain"] for axis in axes.values())
    assert all(below[1] < above[0] for below, above in itertools.pairwise(domains))
    assert all(shape["layer"] == "below" for shape in shown["layout"]["shapes"])


def test_no_spike_is_lost_and_a_window_brings_every_sample():
    x = np.linspace(0, 100, 100_000)
    y = np.zeros(100_000)
    y[54_321] = 7.0
    plot = Plot([Pane("Time (µs)", "Voltage (kV)", [Curve("recorded", x, y)], [], [], (0, 100), (-1, 8))], "spike")
    assert max(plot_figure(plot)["data"][0]["y"]) == 7.0
    detail = plot_figure(plot, window=(50.0, 50.5))["data"][0]
    assert len(detail["x"]) == int(((x >= 50) & (x <= 50.5)).sum()) + 2


def test_a_window_on_a_logarithmic_axis_counts_in_powers_of_ten():
    pane = Pane("Frequency (Hz)", "Impedance (Ω)", [], [], [], (10.0, 1e5), (1, 10), is_log_x=True)
    plot = Plot([pane], "")
    assert plot.window("2", "3") == (100.0, 1000.0)
    assert plot.window(None, None) is None
    for bad in (("3", "2"), ("x", "2"), ("9", "400"), ("nan", "2")):
        with pytest.raises(ValueError):
            plot.window(*bad)


def test_a_region_from_edge_to_edge_fills_the_pane():
    region = Region("limit", y=(5.0, None), is_limit=True)
    pane = Pane("Time (s)", "Charge (pC)", [], [region], [], (0, 10), (0, 8))
    shape = plot_figure(Plot([pane], ""))["layout"]["shapes"][0]
    assert (shape["x0"], shape["x1"], shape["y0"], shape["y1"]) == (0, 10, 5.0, 8)
    assert shape["fillcolor"] == "token:limit"


@pytest.mark.parametrize(
    ("edges", "is_log", "ticks"),
    [
        ((0, 60), False, [0, 10, 20, 30, 40, 50, 60]),
        ((-130, 8), False, [-100, -50, 0]),
        ((0.13, 90), True, [0.2, 0.5, 1, 2, 5, 10, 20, 50]),
        ((10, 1e6), True, [10, 100, 1e3, 1e4, 1e5, 1e6]),
    ],
)
def test_ticks_are_round(edges, is_log, ticks):
    assert ticks_between(*edges, is_log=is_log) == ticks


def test_each_name_stands_in_the_legend_once():
    named = [trace["name"] for trace in plot_figure(sweep_picture())["data"] if trace["showlegend"]]
    assert named == ["recorded", "branch 1", "branch 2", "fitted"]
