"""Touchstone 1 and 2: option lines, three ways of writing a number, ports that must be counted."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest

from records.readers.reading import preview, read_record
from records.readers.refusals import (
    ColumnMissing,
    ContentNotKnown,
    FrequencyNotInOrder,
    NoTable,
    NotANumber,
    RecordDamaged,
    RecordRefused,
    RecordTruncated,
)
from records.readers.wanted import WANTED_BY_KIND, Wanted
from tests.recordfiles import touchstone_text

SWEEP = WANTED_BY_KIND["frequency_response"]
ANY = Wanted((("frequency_hz",),), (), "frequency_hz")
FREQUENCY = [100.0, 200.0, 300.0]
GAMMA = [0.5 + 0.25j, -0.125 + 0.75j, 0.0 - 1.0j]


def read(room, text, wanted=SWEEP):
    path = room / "record"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    preview(path, wanted=wanted)
    return read_record(path, wanted=wanted)


def reflection(recording):
    return recording.channels["reflection_real"] + 1j * recording.channels["reflection_imag"]


@pytest.mark.parametrize(
    ("form", "written", "tolerance"),
    [
        ("RI", lambda z: (z.real, z.imag), 0.0),
        ("MA", lambda z: (abs(z), math.degrees(cmath.phase(z))), 1e-15),
        ("DB", lambda z: (20 * math.log10(abs(z)), math.degrees(cmath.phase(z))), 1e-14),
    ],
)
def test_each_form_gives_the_same_numbers(form, written, tolerance, tmp_path):
    text = touchstone_text(FREQUENCY, [written(z) for z in GAMMA], f"# Hz S {form} R 75")
    recording = read(tmp_path, text)
    np.testing.assert_allclose(reflection(recording), GAMMA, rtol=tolerance, atol=tolerance)
    np.testing.assert_array_equal(recording.channels["frequency_hz"], FREQUENCY)
    assert recording.metadata["reference_ohm"] == "75"
    assert (len(recording.time_s), recording.rows, recording.oddities) == (0, 3, ())


@pytest.mark.parametrize(("unit", "factor"), [("Hz", 1.0), ("kHz", 1e3), ("MHZ", 1e6), ("ghz", 1e9)])
def test_units_of_frequency(unit, factor, tmp_path):
    text = touchstone_text([1, 2, 3], [(0, 1)] * 3, f"# {unit} S RI R 50")
    np.testing.assert_allclose(read(tmp_path, text).channels["frequency_hz"], np.array([1, 2, 3]) * factor)


@pytest.mark.parametrize("option", ["# R 50", "# ghz", "# MA", "#   S   GHZ  MA  R   50", "# GHZ S MA R 50 ! as usual"])
def test_what_the_option_line_leaves_out_has_a_default(option, tmp_path):
    recording = read(tmp_path, touchstone_text([1, 2, 3], [(1, 90)] * 3, option))
    np.testing.assert_allclose(recording.channels["frequency_hz"], [1e9, 2e9, 3e9])
    np.testing.assert_allclose(reflection(recording), [1j] * 3, atol=1e-15)


def test_a_second_option_line_does_not_count(tmp_path):
    text = touchstone_text(FREQUENCY, [(0, 1)] * 3) + "# GHz S MA R 75\n"
    recording = read(tmp_path, text)
    assert recording.metadata["reference_ohm"] == "50"
    assert recording.oddities == ("Row 6 is a second option line; only the first one counts.",)


def test_marks_comments_and_line_ends(tmp_path):
    text = "\ufeff! first\r\n! second\r\n# Hz S RI R 50\r\n100 0.5 0.25 ! here\r\n\r\n200 0.5 0.5\r\n300\t1 0\r\n"
    np.testing.assert_allclose(reflection(read(tmp_path, text)), [0.5 + 0.25j, 0.5 + 0.5j, 1.0])


def test_impedance_and_admittance_are_relative_in_version_1(tmp_path):
    recording = read(tmp_path, touchstone_text(FREQUENCY, [(2, 1)] * 3, "# Hz Z RI R 50"))
    np.testing.assert_allclose(recording.channels["impedance_real_ohm"], [100.0] * 3)
    np.testing.assert_allclose(recording.channels["impedance_imag_ohm"], [50.0] * 3)
    recording = read(tmp_path, touchstone_text(FREQUENCY, [(0, 0.5)] * 3, "# Hz Y RI R 50"))
    np.testing.assert_allclose(recording.channels["impedance_imag_ohm"], [-100.0] * 3)


def version_2(data, ports=1, count=3, parameter="Z", more=""):
    return (
        f"[Version] 2.0\n# Hz {parameter} RI R 50\n[Number of Ports] {ports}\n{more}[Number of Frequencies] {count}\n"
        f"[Network Data]\n{data}\n[End]\n"
    )


def test_impedance_is_absolute_in_version_2(tmp_path):
    recording = read(tmp_path, version_2("100 2 1\n200 2 1\n300 2 1"))
    np.testing.assert_allclose(recording.channels["impedance_real_ohm"], [2.0] * 3)
    assert "version 2" in recording.preview.how


THREE_PORT = (
    "[Number of Frequencies] 3\n[Network Data]\n" + "".join(f"{f} {'1 2 ' * 9}\n" for f in FREQUENCY) + "[End]\n"
)
TWO_PORT = [[1, 2, 3, 4, 5, 6, 7, 8]] * 3


def test_two_ports_are_written_column_by_column_in_version_1(tmp_path):
    channels = read(tmp_path, touchstone_text(FREQUENCY, TWO_PORT), ANY).channels
    named = {"s11": 1 + 2j, "s21": 3 + 4j, "s12": 5 + 6j, "s22": 7 + 8j}
    assert {name: complex(channels[f"{name}_real"][0], channels[f"{name}_imag"][0]) for name in named} == named


@pytest.mark.parametrize(("order", "s21"), [("12_21", 5 + 6j), ("21_12", 3 + 4j)])
def test_the_order_of_two_ports_is_stated_in_version_2(order, s21, tmp_path):
    rows = "\n".join(f"{f} 1 2 3 4 5 6 7 8" for f in (100, 200, 300))
    more = f"[Two-Port Data Order] {order}\n[Reference] 50 75\n"
    recording = read(tmp_path, version_2(rows, ports=2, parameter="S", more=more), ANY)
    assert complex(recording.channels["s21_real"][0], recording.channels["s21_imag"][0]) == s21
    assert recording.metadata["reference_ohm"] == "50 75"


def test_half_a_matrix_is_mirrored(tmp_path):
    rows = "\n".join(f"{f} 1 0 2 0\n 3 0" for f in (100, 200, 300))
    for form, twelve in (("Lower", 2.0), ("Upper", 2.0)):
        recording = read(tmp_path, version_2(rows, ports=2, parameter="S", more=f"[Matrix Format] {form}\n"), ANY)
        assert recording.channels["s12_real"][0] == recording.channels["s21_real"][0] == twelve
        assert recording.channels["s22_real"][0] == 3.0


def test_three_and_four_ports_are_counted(tmp_path):
    for ports in (3, 4):
        lines = ["# Hz S RI R 50"]
        for frequency in FREQUENCY:
            numbers = [str(place) for place in range(2 * ports**2)]
            rows = [numbers[2 * ports * row : 2 * ports * (row + 1)] for row in range(ports)]
            lines += [f"{frequency} {' '.join(rows[0])}", *(" ".join(row) for row in rows[1:])]
        channels = read(tmp_path, "\n".join(lines), ANY).channels
        assert len(channels) == 1 + 2 * ports**2
        assert channels["s21_real"][0] == 2 * ports


def test_noise_data_are_passed_over_and_told(tmp_path):
    text = touchstone_text(FREQUENCY, TWO_PORT) + "100 1 0.5 30 0.2\n200 1 0.5 30 0.2\n"
    recording = read(tmp_path, text, ANY)
    assert (recording.rows, recording.oddities) == (3, ("Noise data were passed over.",))


def test_a_falling_sweep_is_turned_round_and_the_point_at_zero_left_out(tmp_path):
    recording = read(tmp_path, touchstone_text([300, 200, 100, 0], [(3, 0), (2, 0), (1, 0), (0, 0)]))
    np.testing.assert_array_equal(recording.channels["frequency_hz"], [100, 200, 300])
    np.testing.assert_array_equal(recording.channels["reflection_real"], [1, 2, 3])
    assert recording.oddities == (
        "The sweep runs from high to low frequency; it was turned round.",
        "The point at 0 Hz was left out.",
    )


GOOD = "100 1 0\n200 1 0\n300 1 0\n"
WRONG = {
    "no data": ("# Hz S RI R 50\n", NoTable, "no data"),
    "complex reference": ("# Hz S RI R (50+50j)\n" + GOOD, ContentNotKnown, "a complex reference is not used"),
    "reference of nothing": ("# Hz S RI R 0\n" + GOOD, ContentNotKnown, "greater than 0"),
    "reference missing": ("# Hz S RI R\n" + GOOD, RecordDamaged, "no resistance"),
    "text": ("# Hz S RI R 50\n100 1 0\n200 OVL 0\n300 1 0\n", NotANumber, "Row 3 holds “OVL”"),
    "not a number": ("# Hz S RI R 50\n100 1 0\n200 nan 0\n300 1 0\n", NotANumber, "Row 3 holds “nan”"),
    "underscores": ("# Hz S RI R 50\n100 1 0\n200 1_0 0\n300 1 0\n", NotANumber, "Row 3 holds “1_0”"),
    "an even row first": ("# Hz S RI R 50\n100 1\n200 1 0\n", RecordDamaged, "odd count"),
    "five numbers": ("# Hz S RI R 50\n100 1 0 1 0\n200 1 0 1 0\n", RecordDamaged, r"n ports take 1 \+ 2 n²"),
    "cut off": ("# Hz S RI R 50\n" + "100 1 0 1 0 1 0 1 0\n200 1 0 1 0 1 0\n", RecordTruncated, "Row 3: 7 numbers"),
    "cut off to five": ("# Hz S RI R 50\n" + "100 1 0 1 0 1 0 1 0\n200 1 0 1 0\n", RecordTruncated, "5 numbers"),
    "two sweeps": ("# Hz S RI R 50\n" + GOOD + GOOD, FrequencyNotInOrder, "Row 5 is at 100 Hz"),
    "one frequency twice": ("# Hz S RI R 50\n100 1 0\n100 1 0\n200 1 0\n", FrequencyNotInOrder, "Row 3"),
    "below zero": ("# Hz S RI R 50\n-100 1 0\n100 1 0\n200 1 0\n", FrequencyNotInOrder, "greater than 0"),
    "hybrid": ("# Hz H RI R 50\n100 1 2 3 4 5 6 7 8\n", ContentNotKnown, "H-parameters of 2 ports"),
    "open circuit": ("# Hz Y RI R 50\n100 1 0\n200 0 0\n300 1 0\n", NotANumber, "Row 3: an admittance of 0"),
    "an option unknown": ("# Hz S RI R 50\n", NoTable, "no data"),
    "fewer than stated": (version_2("100 1 0\n200 1 0", count=3), RecordTruncated, "states 3 frequencies and holds 2"),
    "a huge count": (version_2("100 1 0", count=10**11), RecordTruncated, "holds 1"),
    "no count": ("[Version] 2.0\n# Hz S RI\n[Number of Ports] 1\n[Network Data]\n" + GOOD, RecordDamaged, "must state"),
    "ports as text": (version_2(GOOD, ports="many"), ContentNotKnown, "states “many” ports"),
    "too many ports": (version_2(GOOD, ports=99999), ContentNotKnown, "from 1 to 9"),
    "mixed modes": (version_2(GOOD, more="[Mixed-Mode Order] D1,2\n"), ContentNotKnown, "mixed modes"),
    "an odd order": (version_2("1 " * 9, ports=2, more="[Two-Port Data Order] x\n"), RecordDamaged, "“x” is no order"),
}


@pytest.mark.parametrize("name", WRONG)
def test_wrong_file(name, tmp_path):
    text, refusal, words = WRONG[name]
    with pytest.raises(refusal, match=words) as caught:
        read(tmp_path, text)
    assert "\n" not in caught.value.message


def test_two_ports_are_taken_by_their_transfer_and_three_by_none(tmp_path):
    """S21 = 3 + 4j: |S21| = 5, 13.979 dB, at 53.130°."""
    channels = read(tmp_path, touchstone_text(FREQUENCY, TWO_PORT)).channels
    assert channels["gain_db"].tolist() == pytest.approx([20 * math.log10(5)] * 3, rel=1e-14)
    assert channels["phase_deg"].tolist() == pytest.approx([math.degrees(math.atan2(4, 3))] * 3, rel=1e-14)
    with pytest.raises(ColumnMissing, match="no column for the gain; it has “frequency_hz”, “s11_real”"):
        read(tmp_path, "[Version] 2.0\n# Hz S RI R 50\n[Number of Ports] 3\n" + THREE_PORT)


def test_a_sweep_is_no_record_of_a_withstand(tmp_path):
    with pytest.raises(ColumnMissing, match="no column for the time and the voltage"):
        read(tmp_path, touchstone_text(FREQUENCY, [(0, 1)] * 3), WANTED_BY_KIND["power_frequency_withstand"])


def test_a_comment_in_a_text_file_is_no_option_line(tmp_path):
    for comment in ("# Hz measured", "# Bay: 2", "# S", "#"):
        with pytest.raises(RecordRefused) as caught:
            read(tmp_path, f"{comment}\nA,B\n1,2\n2,3\n3,4\n", WANTED_BY_KIND["power_frequency_withstand"])
        assert type(caught.value).__name__ == "MappingNeeded"
