"""What a kind of step needs decides what heads mean, along what rows run, and how few are enough."""

from __future__ import annotations

import numpy as np
import pytest

from records.readers.columns import ColumnMap
from records.readers.names import CANDIDATES, WORDS
from records.readers.reading import read_record
from records.readers.refusals import ColumnMissing, FrequencyNotInOrder, MappingNeeded, NotANumber, TooFewRows
from records.readers.units import CHANNELS, factor_to, is_channel, offset_to, understand_head
from records.readers.wanted import WANTED_BY_KIND, Wanted


def read(room, text, kind, **how):
    (room / "record").write_text(text, encoding="utf-8")
    return read_record(room / "record", wanted=WANTED_BY_KIND[kind], **how)


SWEEPS = {
    "magnitude and phase": (
        "Frequency (kHz);|Z| (kΩ);Phase (rad)\n1;0,5;1\n2;0,25;-1\n3;0,125;0\n",
        {"impedance_ohm": [500, 250, 125], "phase_deg": [57.29577951308232, -57.29577951308232, 0]},
    ),
    "real and imaginary": (
        "f/Hz,Re(Z)/Ohm,Im(Z)/Ohm\n1000,1,2\n2000,3,4\n3000,5,6\n",
        {"impedance_real_ohm": [1, 3, 5], "impedance_imag_ohm": [2, 4, 6]},
    ),
    "resistance and reactance": (
        "freq [kHz],R [Ω],X [mΩ]\n1,1,2000\n2,3,4000\n3,5,6000\n",
        {"impedance_real_ohm": [1, 3, 5], "impedance_imag_ohm": [2, 4, 6]},
    ),
    "gain": ("f (Hz),Magnitude (dB)\n1000,-1\n2000,-2\n3000,-3\n", {"gain_db": [-1, -2, -3]}),
    "magnitude in ohms": (
        "f (Hz),Magnitude (Ω),Phase (°)\n1000,7,1\n2000,8,1\n3000,9,1\n", {"impedance_ohm": [7, 8, 9]},
    ),
    "reflection": (
        "f (Hz),Re(S11),Im(S11)\n1000,0.5,0\n2000,0.25,0\n3000,0.125,1\n", {"reflection_real": [0.5, 0.25, 0.125]},
    ),
    "reflection as analysers write it": (
        "Freq(Hz),S11(REAL),S11(IMAG)\n1000,0.5,0\n2000,0.25,0\n3000,0.125,1\n", {"reflection_imag": [0, 0, 1]},
    ),
    "channel names": (
        "frequency_hz,impedance_ohm,phase_deg\n1000,1,0\n2000,2,0\n3000,3,0\n", {"impedance_ohm": [1, 2, 3]},
    ),
    "downwards": ("f (Hz),gain (dB)\n3000,-3\n2000,-2\n1000,-1\n", {"gain_db": [-1, -2, -3]}),
}  # fmt: skip


@pytest.mark.parametrize("name", SWEEPS)
def test_sweeps_run_along_frequency(name, tmp_path):
    text, expected = SWEEPS[name]
    recording = read(tmp_path, text, "frequency_response")
    np.testing.assert_allclose(recording.channels["frequency_hz"], [1000, 2000, 3000])
    for channel, values in expected.items():
        np.testing.assert_allclose(recording.channels[channel], values, rtol=1e-14)
    assert (recording.time_s.shape, recording.duration_s, recording.rows) == ((0,), 0.0, 3)


def test_a_sweep_out_of_order_is_refused_with_its_row(tmp_path):
    with pytest.raises(FrequencyNotInOrder, match="Row 4 is at 150 Hz and the one before it at 200 Hz") as caught:
        read(tmp_path, "f (Hz),gain (dB)\n100,1\n200,2\n150,3\n", "frequency_response")
    assert caught.value.row == 4


TABLES = {
    "winding_resistance": (
        "Phase;R (mΩ);Temperature (°C);Ambient (K)\nU;12,5;20;293,15\n", {"resistance_ohm": [0.0125],
        "temperature_c": [20.0], "ambient_c": [20.0]},
    ),
    "dissipation_factor": (
        "U (kV),tan δ (%),C (nF)\n1,0.02,500\n2,0.03,501\n",
        {"voltage_kv": [1, 2], "dissipation_factor": [2e-4, 3e-4], "capacitance_uf": [0.5, 0.501]},
    ),
    "capacitance": ("No,Capacitance (µF)\n1,50.5\n", {"capacitance_uf": [50.5]}),
    "inductance": (
        "f (Hz),L (mH),P (kW),I (A)\n60,6.371,1.5,100\n", {"frequency_hz": [60], "inductance_mh": [6.371],
        "loss_w": [1500], "current_a": [100]},
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", TABLES)
def test_tables_need_no_time_and_one_row(kind, tmp_path):
    text, expected = TABLES[kind]
    recording = read(tmp_path, text, kind)
    assert len(recording.time_s) == 0
    for channel, values in expected.items():
        np.testing.assert_allclose(recording.channels[channel], values, rtol=1e-13, atol=1e-12)


def test_a_table_with_times_keeps_them_where_they_are_in_order(tmp_path):
    recording = read(tmp_path, "t (s),R (Ω)\n0,1\n1,2\n", "winding_resistance")
    np.testing.assert_array_equal(recording.time_s, [0, 1])
    recording = read(tmp_path, "t (s),R (Ω)\n1,1\n0,2\n", "winding_resistance")
    assert len(recording.time_s) == 0
    assert recording.oddities == ("The times are not in order; the rows were taken as a table without time.",)


def test_insulation_and_cooling_curves(tmp_path):
    recording = read(tmp_path, "t (min),R (GΩ)\n0.5,1\n1,2\n10,4\n", "insulation_resistance")
    np.testing.assert_allclose(recording.channels["insulation_resistance_mohm"], [1000, 2000, 4000])
    np.testing.assert_allclose(recording.time_s, [30, 60, 600])
    recording = read(tmp_path, "t (s),R (mΩ),T amb (°C)\n30,1,20\n60,2,20\n90,4,21\n", "temperature_rise")
    np.testing.assert_allclose(recording.channels["resistance_ohm"], [0.001, 0.002, 0.004])
    np.testing.assert_allclose(recording.channels["ambient_c"], [20, 20, 21])


def test_pulses_with_phase_need_no_voltage(tmp_path):
    recording = read(tmp_path, "t (ms),q (pC),φ (°),gate\n1,5,90,0\n2,6,91,1\n3,7,92,0\n", "partial_discharge")
    np.testing.assert_array_equal(recording.channels["phase_deg"], [90, 91, 92])
    np.testing.assert_array_equal(recording.channels["gated"], [0, 1, 0])


def test_a_time_axis_still_needs_three_rows(tmp_path):
    with pytest.raises(TooFewRows, match="2 rows of numbers; at least 3 are needed"):
        read(tmp_path, "t (s),U (kV)\n0,1\n1,2\n", "power_frequency_withstand")


def test_what_is_missing_is_named_by_the_nearest_set(tmp_path):
    with pytest.raises(MappingNeeded, match="which column is the phase: the file has “f \\(Hz\\)”, “Z \\(Ω\\)”, “A”"):
        read(tmp_path, "f (Hz),Z (Ω),A\n1,2,3\n2,3,4\n3,4,5\n", "frequency_response")
    with pytest.raises(ColumnMissing, match="no column for the insulation resistance"):
        read(tmp_path, "t (s),U (kV)\n1,2\n2,3\n3,4\n", "insulation_resistance")


def test_a_mapping_to_the_new_channels(tmp_path):
    mapping = ColumnMap.from_dict({"temperature_c": {"column": "CH2", "unit": "K"}, "resistance_ohm": "CH1"})
    recording = read(tmp_path, "CH1,CH2\n2,300\n3,301\n", "winding_resistance", columns=mapping)
    np.testing.assert_allclose(recording.channels["temperature_c"], [26.85, 27.85])


def test_text_among_the_values_names_its_row(tmp_path):
    with pytest.raises(NotANumber, match="Row 3: the column “tan δ \\(%\\)” holds the text “>1”"):
        read(tmp_path, "U (kV),tan δ (%)\n1,0.02\n2,>1\n", "dissipation_factor")


@pytest.mark.parametrize(
    ("channel", "unit", "factor"),
    [
        ("impedance_ohm", "Ω", 1.0),  # Greek letter
        ("impedance_ohm", "\u2126", 1.0),  # ohm sign
        ("impedance_ohm", "kΩ", 1e3),
        ("resistance_ohm", "mΩ", 1e-3),
        ("resistance_ohm", "MΩ", 1e6),
        ("resistance_ohm", "µΩ", 1e-6),
        ("insulation_resistance_mohm", "GΩ", 1e3),
        ("insulation_resistance_mohm", "TΩ", 1e6),
        ("inductance_mh", "H", 1e3),
        ("inductance_mh", "µH", 1e-3),
        ("capacitance_uf", "nF", 1e-3),
        ("capacitance_uf", "pF", 1e-6),
        ("gain_db", "dB", 1.0),
        ("current_a", "A", 1.0),
        ("current_ma", "A", 1e3),
        ("loss_w", "kW", 1e3),
        ("dissipation_factor", "1", 1.0),
        ("dissipation_factor", "%", 1e-2),
        ("dissipation_factor", "1e-3", 1e-3),
        ("dissipation_factor", "10⁻⁴", 1e-4),
        ("temperature_c", "K", 1.0),
        ("s21_real", "1", 1.0),
    ],
)
def test_factors(channel, unit, factor):
    assert factor_to(channel, unit) == factor


@pytest.mark.parametrize(
    ("channel", "unit"),
    [("resistance_ohm", "R"), ("capacitance_uf", "C"), ("inductance_mh", "h"), ("gain_db", "V"), ("loss_w", "w"),
     ("temperature_c", "F"), ("s21_real", "dB"), ("s00_real", "1")],
)  # fmt: skip
def test_what_is_not_on_the_list_is_not_guessed(channel, unit):
    assert factor_to(channel, unit) is None


def test_zeros_of_temperature_scales():
    assert offset_to("ambient_c", "K") == -273.15
    assert offset_to("ambient_c", "°C") == 0.0
    assert offset_to("resistance_ohm", "K") == 0.0


@pytest.mark.parametrize(
    ("head", "wanted", "understood"),
    [
        ("R (MΩ)", (), ("resistance_ohm", "MΩ")),
        ("R (MΩ)", ("insulation_resistance_mohm",), ("insulation_resistance_mohm", "MΩ")),
        ("Current (A)", ("current_a",), ("current_a", "A")),
        ("Current (A)", (), ("current_ma", "A")),
        ("T (°C)", (), ("temperature_c", "°C")),
        ("T (s)", (), ("time_s", "s")),
        ("S21_real", (), ("s21_real", "1")),
        ("CH1 (1)", (), (None, None)),
    ],
)
def test_the_step_decides_what_a_name_means(head, wanted, understood):
    assert understand_head(head, wanted) == understood


def test_the_lists_agree_with_each_other():
    assert {channel for channels in CANDIDATES.values() for channel in channels} <= set(CHANNELS)
    assert set(WORDS) == set(CHANNELS)
    assert all(is_channel(name) for wanted in WANTED_BY_KIND.values() for name in wanted.channels)
    assert all(wanted.axis in one for wanted in WANTED_BY_KIND.values() if wanted.axis for one in wanted.sets)


def test_wanted_crosses_the_process_border():
    for wanted in WANTED_BY_KIND.values():
        assert Wanted.from_dict(wanted.as_dict()) == wanted
    assert WANTED_BY_KIND["frequency_response"].lacking(["frequency_hz", "impedance_ohm"]) == ("phase_deg",)
    assert WANTED_BY_KIND["frequency_response"].lacking(["frequency_hz", "impedance_ohm"], is_all=True) == ()
    assert WANTED_BY_KIND["frequency_response"].lacking(["frequency_hz", "gain_db"]) == ()


def test_an_impedance_needs_no_phase_where_no_column_is_left_that_could_be_one(tmp_path):
    rows = "1,2,3\n2,3,4\n3,4,5\n"
    bare = read(tmp_path, "f (Hz),Z (Ω)\n1,2\n2,3\n3,4\n", "frequency_response")
    assert set(bare.channels) == {"frequency_hz", "impedance_ohm"}
    told = ColumnMap.from_dict({"impedance_ohm": "Z (Ω)"})
    mapped = read(tmp_path, f"f (Hz),Z (Ω),A\n{rows}", "frequency_response", columns=told)
    np.testing.assert_array_equal(mapped.channels["impedance_ohm"], [2, 3, 4])
