"""The picture of a cooling curve and of an insulation: the same data in the browser and in print, back to shutdown."""

from __future__ import annotations

import json
import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from records.charts import FittedCurve, curve_figure, curve_svg
from records.evaluation.curves import curve_details
from records.evaluation.evaluating import evaluate
from records.evaluation.setups import parse_setup
from records.evaluation.slow_synthesis import Disturbance, Winding, synthesise_absorption, synthesise_cooling

STEP = {
    "kind": "temperature_rise",
    "material": "copper",
    "cold_resistance_ohm": 0.421,
    "cold_temperature_c": 22.5,
    "ambient_c": 25,
    "shutdown_s": 0,
    "criteria": [{"quantity": "temperature_rise_k", "max": 75}],
}
SETUP = parse_setup({"instruments": [{"name": "bridge", "relative_uncertainty_pct": 0.1}]})


@pytest.fixture(scope="module")
def cooling():
    """Return the curve of a winding whose rise of 75.18 K lies just beyond a limit of 75 K."""
    record = synthesise_cooling(Winding(), Disturbance(noise=2e-5, step=1e-5))
    return FittedCurve.from_details(evaluate(STEP, [record], SETUP).as_dict()["details"])


@pytest.fixture(scope="module")
def insulation():
    """Return the curve of an insulation with a limit below it."""
    step = {"kind": "insulation_resistance", "criteria": [{"quantity": "insulation_resistance_mohm", "min": 1000}]}
    record = synthesise_absorption(1500, 2.5, Disturbance(noise=0.005))
    return FittedCurve.from_details(evaluate(step, [record], SETUP).as_dict()["details"])


def test_the_chosen_line_runs_back_to_shutdown_and_meets_the_value_read(cooling):
    chosen, point = cooling.lines[0], cooling.points[0]
    assert chosen["x"][0] == point["x"] == 0.0
    assert chosen["y"][0] == pytest.approx(point["y"], rel=1e-6)
    assert cooling.readings["x"][0] == 20.0
    assert len(cooling.lines) == 3
    # U is 0.00055 Ω: two digits of it, so five places of the value
    assert re.fullmatch(r"at shutdown 0\.54[789]\d\d Ω", point["words"])
    assert point["expanded_uncertainty"] == pytest.approx(0.548 * 0.001, rel=0.01)


def test_the_limit_is_the_resistance_at_which_the_rise_would_be_exceeded(cooling):
    # 75 K over 25 °C: 0.421 · (235 + 100)/(235 + 22.5) = 0.547709 Ω
    assert cooling.limit["high"] == pytest.approx(0.421 * 335 / 257.5)
    low, high = cooling.forbidden()[0]
    assert (low, high) == (cooling.limit["high"], cooling.span("y")[1])
    assert cooling.points[0]["y"] > low


@pytest.mark.parametrize(("name", "edge"), [("cooling", "high"), ("insulation", "low")])
def test_the_limit_is_said_at_its_edge(name, edge, request):
    curve = request.getfixturevalue(name)
    note = curve_figure(curve)["layout"]["annotations"][-1]
    assert (note["text"], note["y"]) == (curve.limit["words"], curve.limit[edge])
    assert curve.limit["words"] in curve_svg(curve)


@pytest.mark.parametrize("name", ["cooling", "insulation"])
def test_the_browser_gets_one_pane_in_tokens_as_plain_json(name, request):
    curve = request.getfixturevalue(name)
    shown = curve_figure(curve)
    assert json.loads(json.dumps(shown, allow_nan=False)) == shown
    assert {key for key in shown["layout"] if re.match(r"[xy]axis", key)} == {"xaxis", "yaxis"}
    assert shown["layout"]["xaxis"]["title"]["text"].endswith("(s)")
    assert re.search(r"\((Ω|MΩ)\)$", shown["layout"]["yaxis"]["title"]["text"])
    assert re.findall(r"#[0-9a-f]{3,6}|rgb", str(shown)) == []
    assert all(shape["layer"] == "below" for shape in shown["layout"]["shapes"])
    readings = next(trace for trace in shown["data"] if trace["name"] == "readings")
    assert (readings["x"], readings["y"]) == (curve.readings["x"], curve.readings["y"])


@pytest.mark.parametrize("name", ["cooling", "insulation"])
def test_print_shows_the_same_readings_in_one_path_without_style(name, request):
    curve = request.getfixturevalue(name)
    root = ET.fromstring(curve_svg(curve))
    paths = [element.get("d") for element in root.iter() if element.tag.endswith("path")]
    dots = next(path for path in paths if path.count("h0") > 20)
    assert dots.count("h0") == len(curve.readings["x"])
    texts = " ".join(element.text or "" for element in root.iter() if element.tag.endswith("text"))
    assert all(point["words"] in texts for point in curve.points)
    assert all(title in texts for title in curve.titles)
    assert "style" not in curve_svg(curve)
    assert "script" not in curve_svg(curve)


def test_both_axes_of_an_insulation_are_logarithmic_and_hold_everything(insulation):
    layout = curve_figure(insulation)["layout"]
    for axis in ("x", "y"):
        low, high = layout[f"{axis}axis"]["range"]
        assert layout[f"{axis}axis"]["type"] == "log"
        assert low < math.log10(min(insulation.readings[axis])) < math.log10(max(insulation.readings[axis])) < high
    assert [point["x"] for point in insulation.points] == [60.0, 600.0]
    assert insulation.limit["low"] == 1000.0
    note = layout["annotations"][0]
    assert note["x"] == pytest.approx(math.log10(60))


def test_thinning_keeps_the_extremes_of_a_long_record():
    x = np.arange(100_000.0)
    y = np.ones(100_000)
    y[54_321] = 7.0
    kept = curve_details(x, y, titles=("t (s)", "R (Ω)"), words="")["curve"]["readings"]
    assert len(kept["x"]) <= 600
    assert max(kept["y"]) == 7.0


def test_nothing_kept_gives_no_picture():
    assert FittedCurve.from_details({}) is None
    assert FittedCurve.from_details({"pattern": {}}) is None
    empty = curve_details(np.empty(0), np.empty(0), titles=("t (s)", "R (Ω)"), words="")
    assert FittedCurve.from_details(empty) is None
