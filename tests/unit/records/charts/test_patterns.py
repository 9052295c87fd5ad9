"""The phase-resolved pattern and the overlay: few paths, every cell drawn, the limit behind, no second scale."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from records.charts import Band, Layer, Pattern, Picture, overlay_figure, pattern_figure, pattern_svg

CELLS = [[0, 1, 1], [10, 2, 3], [10, 3, 3], [30, 79, 5000]]


def details(**changes):
    pattern = {
        "cells": CELLS,
        "phase_cells": 120,
        "charge_cells": 80,
        "bottom_pc": -400.0,
        "top_pc": 400.0,
        "pulses": 5007,
        "voltage_kv": 18.71,
        "limit_pc": 100.0,
    }
    return {"pattern": {**pattern, **changes}}


@pytest.fixture
def pattern():
    return Pattern.from_details(details())


def test_no_pattern_where_none_was_kept():
    assert Pattern.from_details({}) is None
    assert Pattern.from_details(details(cells=[])) is None


def test_the_browsers_picture_has_a_trace_a_class_and_the_wave_first(pattern):
    shown = pattern_figure(pattern)
    assert [trace["name"] for trace in shown["data"]] == [
        "test voltage, 18.71 kV r.m.s.",
        "1",
        "2 to 3",
        "1000 and more",
    ]
    pairs = shown["data"][2]
    assert pairs["x"].count(None) == 2  # two cells
    assert pairs["x"][:5] == [30, 33, 33, 30, 30]  # the tenth of 120 cells of 3°
    assert pairs["y"][:5] == [-380, -380, -370, -370, -380]  # the second of 80 cells of 10 pC
    assert [key for key in shown["layout"] if key.startswith("yaxis")] == ["yaxis"]
    assert {(shape["y0"], shape["y1"]) for shape in shown["layout"]["shapes"]} == {(100, 400), (-400, -100)}
    assert all(shape["layer"] == "below" for shape in shown["layout"]["shapes"])
    assert re.findall(r"#[0-9a-f]{3,6}|rgb", json.dumps(shown)) == []


def test_the_wave_is_a_sine_within_the_pane(pattern):
    phases, heights = pattern.wave()
    assert (phases[0], phases[-1]) == (0, 360)
    assert heights == pytest.approx(0.92 * 400 * np.sin(np.radians(phases)), abs=0.05)


def test_the_document_has_one_path_a_class_and_no_style(pattern):
    svg = pattern_svg(pattern)
    root = ET.fromstring(svg)
    filled = [e for e in root.iter("{http://www.w3.org/2000/svg}path") if e.get("fill") != "none"]
    assert len(filled) == 3
    assert sum(path.get("d").count("M") for path in filled) == len(CELLS)
    assert "<style" not in svg
    assert "style=" not in svg
    assert "18.71 kV r.m.s." in svg
    assert "limit ± 100 pC" in svg
    assert "limit 100 pC" in pattern_svg(Pattern.from_details(details(bottom_pc=0.0)))
    assert "limit" not in pattern_svg(Pattern.from_details(details(limit_pc=None)))


def test_a_pattern_of_one_sign_without_limit_or_voltage():
    pattern = Pattern.from_details(details(bottom_pc=0.0, limit_pc=None, voltage_kv=None))
    assert pattern.limits() == []
    assert pattern_figure(pattern)["layout"]["yaxis"]["range"] == [0.0, 400.0]
    assert "test voltage" in pattern_svg(pattern)
    assert "kV" not in pattern.words


def test_words_for_those_who_do_not_see_it(pattern):
    assert pattern.words == (
        "5007 pulses at 18.71 kV by phase and charge, in 4 cells; most in one cell: 5000, between 90° and 93° and near "
        "395 pC."
    )


def picture(offset_s, charge=250.0, *, with_charge=True):
    time_s = np.arange(0, 300, 0.1)
    volts = np.interp(time_s, [offset_s, offset_s + 10, offset_s + 100, offset_s + 110], [0, 18.71, 18.71, 0])
    band = Band("Measurement", 18.71, 18.15, 19.27, offset_s + 10, offset_s + 100, 90.0)
    return Picture(time_s, volts, np.full_like(time_s, charge) if with_charge else None, (band,), 100.0)


def test_runs_are_moved_to_the_first_stage():
    layers = [Layer("R-1, A", picture(20.0), 30.0), Layer("R-2, B", picture(57.3, 400.0), 67.3)]
    shown = overlay_figure(layers)
    volts = [trace for trace in shown["data"] if trace["yaxis"] == "y"]
    reached = [next(x for x, y in zip(trace["x"], trace["y"], strict=True) if y >= 18.7) for trace in volts]
    assert reached == pytest.approx([0.0, 0.0], abs=0.3)  # thinned to 2000 of 3000 samples of 0.1 s
    assert shown["layout"]["shapes"][0]["x0"] == pytest.approx(0.0)
    assert shown["layout"]["yaxis2"]["range"][1] >= 400
    assert {trace["name"] for trace in shown["data"]} == {"R-1, A", "R-2, B"}
    assert [trace["showlegend"] for trace in shown["data"]] == [True, False, True, False]
    assert len({trace["line"]["dash"] for trace in shown["data"]}) == 2
    assert "overlaying" not in json.dumps(shown["layout"])


def test_an_overlay_without_charge_and_with_a_window():
    layers = [Layer("R-1", picture(20.0, with_charge=False), 30.0), Layer("R-2", picture(20.0), 30.0)]
    shown = overlay_figure(layers, window=(0.0, 5.0))
    assert {trace["yaxis"] for trace in shown["data"]} == {"y"}
    assert shown["layout"]["xaxis"]["range"] == [0.0, 5.0]


@pytest.mark.parametrize("count", [0, 5])
def test_none_and_too_many_are_refused(count):
    with pytest.raises(ValueError, match="one to 4 runs"):
        overlay_figure([Layer("R", picture(20.0), 30.0)] * count)
