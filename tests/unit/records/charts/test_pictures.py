"""The picture of a record: nothing is lost by thinning, the plan stands behind the data, print needs no style."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from records.charts import Band, Mark, Picture, figure, figure_svg
from records.charts.vector import ticks_up_to

BAND = Band("Measurement", 18.71, 18.15, 19.27, 90.0, 210.0, 120.0)


@pytest.fixture
def picture():
    """Return 100 000 samples with one spike of charge, a band, a limit and an extinction."""
    time_s = np.linspace(0, 300, 100_000)
    voltage = np.full_like(time_s, 18.7)
    charge = np.full_like(time_s, 5.0)
    charge[54_321] = 250.0
    marks = (Mark("extinction", 88.0, 20.5),)
    return Picture(time_s, voltage, charge, (BAND,), 100.0, marks, "One & <only> record")


def test_no_spike_is_lost_in_the_browsers_picture(picture):
    shown = figure(picture)
    charge = shown["data"][1]
    assert len(charge["y"]) <= 2000
    assert max(charge["y"]) == 250.0
    assert charge["x"][charge["y"].index(250.0)] == pytest.approx(picture.time_s[54_321], rel=1e-6)


def test_a_window_brings_every_sample_of_its_part(picture):
    shown = figure(picture, window=(100.0, 101.0))
    # 100 000 samples over 300 s: some 333 in a second, and one beyond each edge.
    assert len(shown["data"][0]["x"]) == int(((picture.time_s >= 100) & (picture.time_s <= 101)).sum()) + 2
    assert shown["layout"]["xaxis"]["range"] == [100.0, 101.0]


def test_two_panes_share_the_time_axis_and_do_not_overlap(picture):
    layout = figure(picture)["layout"]
    assert layout["yaxis2"]["domain"][1] < layout["yaxis"]["domain"][0]
    assert "overlaying" not in layout["yaxis2"]
    assert "xaxis2" not in layout
    assert layout["xaxis"]["anchor"] == "y2"


def test_plan_and_limit_lie_behind_the_data_in_tokens(picture):
    shapes = figure(picture)["layout"]["shapes"]
    assert all(shape["layer"] == "below" for shape in shapes)
    band = next(shape for shape in shapes if shape.get("fillcolor") == "token:band")
    assert (band["x0"], band["x1"], band["y0"], band["y1"]) == (90.0, 210.0, 18.15, 19.27)
    limit = next(shape for shape in shapes if shape.get("fillcolor") == "token:limit")
    assert limit["y0"] == 100.0
    colours = re.findall(r"#[0-9a-f]{3,6}|rgb", str(figure(picture)))
    assert colours == []


def test_the_found_events_are_named_with_their_voltage(picture):
    notes = [note["text"] for note in figure(picture)["layout"]["annotations"]]
    assert notes == ["Measurement 18.71 kV, held 120 s", "limit 100 pC", "extinction 20.5 kV"]


def test_a_record_without_charge_has_one_pane():
    time_s = np.linspace(0, 60, 100)
    shown = figure(Picture(time_s, time_s / 2))
    assert len(shown["data"]) == 1
    assert "yaxis2" not in shown["layout"]


@pytest.mark.parametrize("log", [True, False])
def test_print_is_well_formed_and_has_one_path_a_quantity_and_no_style(picture, log):
    root = ET.fromstring(figure_svg(picture, log=log))
    space = "{http://www.w3.org/2000/svg}"
    paths = root.findall(f"{space}path")
    assert len(paths) == 2
    assert root.find(f"{space}title").text == "One & <only> record"
    assert not any(name in element.attrib for element in root.iter() for name in ("style", "class", "onload"))
    assert {element.tag.removeprefix(space) for element in root.iter()} <= {
        "svg",
        "title",
        "rect",
        "line",
        "text",
        "path",
    }
    numbers = [float(number) for path in paths for number in re.findall(r"-?\d+\.\d", path.get("d"))]
    assert min(numbers) >= 0
    assert max(numbers) <= 680
    assert "limit 100 pC" in figure_svg(picture, log=log)


def test_the_spike_is_in_print_too(picture):
    charge = ET.fromstring(figure_svg(picture, log=False)).findall("{http://www.w3.org/2000/svg}path")[1]
    heights = [float(pair.split(",")[1]) for pair in charge.get("d")[1:].split("L")]
    assert min(heights) < np.median(heights) - 50


def test_single_pulses_are_dots_in_print_and_the_axis_holds_them_all():
    """Pulses of 5 and 50 pC by turns, twice as long as the voltage: two rows of dots, nothing drawn between them."""
    time_s, pulses_s = np.linspace(0, 100, 400), np.linspace(0, 200, 40_000)
    charge = np.where(np.arange(40_000) % 2, 5.0, 50.0)
    picture = Picture(time_s, np.full(400, 20.0), charge, charge_time_s=pulses_s)
    assert picture.span == (0.0, 200.0)
    root = ET.fromstring(figure_svg(picture, log=False))
    voltage, dots = root.findall("{http://www.w3.org/2000/svg}path")
    dashes = [tuple(map(float, dash)) for dash in re.findall(r"M([\d.]+),([\d.]+)h([\d.]+)", dots.get("d"))]
    assert dashes
    assert len({y for _, y, _ in dashes}) == 2
    assert 660 < max(x + wide for x, _, wide in dashes) <= 672  # the right edge lies at 670
    assert max(float(x) for x in re.findall(r"([\d.]+),", voltage.get("d"))) == pytest.approx(366, abs=1)  # half of it


def test_single_pulses_are_dots_in_the_browser_and_none_that_stands_out_is_lost():
    """Pulses of 5 and 50 pC by turns and one of 80 pC: cells of the two rows, and the one."""
    pulses_s = np.linspace(0, 200, 40_000)
    charge = np.where(np.arange(40_000) % 2, 5.0, 50.0)
    charge[31_234] = 80.0
    picture = Picture(np.linspace(0, 200, 400), np.full(400, 20.0), charge, charge_time_s=pulses_s)
    dots = figure(picture)["data"][1]
    assert (dots["mode"], dots["marker"]["color"]) == ("markers", "token:ink")
    assert set(dots["y"]) == {5.0, 50.0, 80.0}
    assert len(dots["x"]) <= 3 * 250
    assert max(np.diff(sorted(dots["x"]))) < 2.0  # no part of the record is left out
    zoomed = figure(picture, window=(100.0, 101.0))["data"][1]
    assert (min(zoomed["x"]), max(zoomed["x"])) == pytest.approx((100.0, 101.0), abs=0.01)
    assert len(zoomed["x"]) > 100


def test_found_events_are_named_between_the_panes_and_inside_the_sheet(picture):
    late = replace(picture, marks=[Mark("extinction", float(picture.time_s[-1]), 12.0), *picture.marks])
    root = ET.fromstring(figure_svg(late))
    space = "{http://www.w3.org/2000/svg}"
    words = {text.text: text for text in root.iter(f"{space}text")}
    named = words["extinction 12 kV"]
    assert named.get("text-anchor") == "end"
    axis = float(words["Charge (pC)"].get("y"))  # stands just above the lower pane
    assert axis - 14 < float(named.get("y")) < axis + 5


def test_zero_charge_draws_on_a_logarithmic_axis():
    time_s = np.linspace(0, 10, 50)
    drawn = figure_svg(Picture(time_s, time_s, np.zeros(50), limit_pc=10.0))
    assert "nan" not in drawn
    assert "inf" not in drawn


@pytest.mark.parametrize(
    ("top", "ticks"),
    [
        (260, [0, 50, 100, 150, 200, 250]),
        (33.6, [0, 10, 20, 30]),
        (0.9, [0, 0.2, 0.4, 0.6, 0.8]),
        (0, [0]),
        (float("nan"), [0]),
    ],
)
def test_ticks_are_round(top, ticks):
    assert ticks_up_to(top) == ticks


@pytest.mark.parametrize(("first", "last"), [("5", "4"), ("a", "4"), ("nan", "4"), ("400", "500"), ("5", None)])
def test_a_window_that_cannot_be_is_refused(picture, first, last):
    with pytest.raises(ValueError):
        picture.window(first, last)


def test_a_window_is_cut_to_the_record(picture):
    assert picture.window("-10", "20") == (0.0, 20.0)
    assert picture.window(None, None) is None
