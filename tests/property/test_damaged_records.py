"""A law of every reader: whatever is done to a file, it gives a recording with finite numbers or a refusal in words."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from records.readers.reading import preview, read_record
from records.readers.recording import Limits
from records.readers.refusals import RecordRefused
from records.readers.wanted import WANTED_BY_KIND
from tests.recordfiles import comtrade_configuration, comtrade_data, seeds, sheet_xml, workbook_bytes

with tempfile.TemporaryDirectory() as _room:
    SEEDS = seeds(Path(_room))
LIMITS = Limits(max_bytes=1 << 20, max_rows=20_000, max_unpacked_bytes=8 << 20)
KINDS = ("power_frequency_withstand", "frequency_response", "winding_resistance")
QUICK = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
SHEET = sheet_xml([["Time (s)", "U (kV)"], [0, 1.5], [1, 2.5], [2, 0.5]], ("A1:A1",)).encode()


@st.composite
def damaged(draw, content: bytes) -> bytes:
    """Give the content with up to five changes: bytes set, cut out, put in, copied, and numbers made extreme."""
    changed = bytearray(content)
    for _ in range(draw(st.integers(1, 5))):
        place = draw(st.integers(0, max(len(changed) - 1, 0)))
        match draw(st.sampled_from(["set", "cut", "insert", "copy", "extreme", "end"])):
            case "set" if changed:
                changed[place] = draw(st.integers(0, 255))
            case "cut":
                del changed[place : place + draw(st.integers(1, 40))]
            case "insert":
                changed[place:place] = draw(st.binary(max_size=8))
            case "copy":
                changed[place:place] = changed[: draw(st.integers(0, 200))]
            case "extreme":
                word = draw(
                    st.sampled_from([b"\xff" * 4, b"\0" * 8, b"\xff" * 8, b"999999999", b"1e308", b"nan", b"-1"])
                )
                changed[place : place + len(word)] = word
            case _:
                del changed[place:]
    return bytes(changed)


def check(content: bytes, other: bytes | None = None) -> None:
    with tempfile.TemporaryDirectory() as room:
        path, companion = Path(room) / "record", None
        path.write_bytes(content)
        if other is not None:
            companion = Path(room) / "other"
            companion.write_bytes(other)
        for kind in KINDS:
            how = {"wanted": WANTED_BY_KIND[kind], "limits": LIMITS, "companion": companion}
            try:
                seen = preview(path, **how)
                recording = read_record(path, **how)
            except RecordRefused as refusal:
                assert refusal.message  # noqa: PT017  both ends are lawful
                assert "\n" not in refusal.message  # noqa: PT017
                continue
            assert seen.how
            assert all(np.isfinite(values).all() for values in (recording.time_s, *recording.channels.values()))
            assert (np.diff(recording.time_s) >= 0).all()
            assert recording.rows >= 1


@pytest.mark.parametrize("name", [name for name in SEEDS if name != "hdf5"])
@QUICK
@given(data=st.data())
def test_a_damaged_file_is_read_or_refused(name, data):
    check(data.draw(damaged(SEEDS[name])))


@QUICK
@given(damaged(SHEET))
def test_a_damaged_sheet_inside_a_sound_workbook_is_read_or_refused(sheet):
    check(workbook_bytes(sheet))


@QUICK
@given(st.sampled_from(["ASCII", "BINARY", "BINARY32", "FLOAT32"]), st.booleans(), st.data())
def test_a_damaged_pair_is_read_or_refused(kind, is_configuration, data):
    text = comtrade_configuration(kind, samples=5, digitals=("D1",)).encode()
    samples = comtrade_data(kind, [(value,) for value in range(5)], bits=[(0,)] * 5)
    if is_configuration:
        check(data.draw(damaged(text)), samples)
    else:
        check(text, data.draw(damaged(samples)))


@pytest.mark.parametrize("name", SEEDS)
def test_every_seed_is_read_as_it_is(name):
    content, wanted = SEEDS[name], "frequency_response" if name == "touchstone" else "power_frequency_withstand"
    with tempfile.TemporaryDirectory() as room:
        path = Path(room) / "record"
        path.write_bytes(content)
        assert read_record(path, wanted=WANTED_BY_KIND[wanted], limits=LIMITS).rows >= 3
