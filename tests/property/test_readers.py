"""Laws of the readers: any dialect gives the same numbers, and any bytes give a recording or a refusal."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from records.evaluation.writing import WrittenDialect, csv_text
from records.readers.reading import preview, read_record
from records.readers.recording import Recording
from records.readers.refusals import RecordRefused

PAIRS = [(s, d) for s in ",;\t|" for d in ".," if s != d]
QUICK = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
numbers = st.floats(-1e6, 1e6, allow_nan=False).map(lambda x: float(f"{x:.9g}"))


def read(content: bytes) -> Recording:
    with tempfile.TemporaryDirectory() as room:
        path = Path(room) / "record.csv"
        path.write_bytes(content)
        preview(path)
        return read_record(path)


@QUICK
@given(
    st.lists(st.tuples(st.integers(1, 1000), numbers, numbers), min_size=3, max_size=40),
    st.sampled_from(PAIRS),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from([{}, {"time_s": "ms", "voltage_kv": "V", "charge_pc": "nC"}, {"time_s": "min"}]),
    st.sampled_from([(), ("Bay: 2", "", "Serial;A-1")]),
)
def test_any_dialect_gives_the_same_numbers(rows, pair, encoding, line_end, units, preamble):
    steps, voltage, charge = map(np.array, zip(*rows, strict=True))
    made = Recording(np.cumsum(steps) / 100, {"voltage_kv": voltage, "charge_pc": charge})
    dialect = WrittenDialect(*pair, encoding, line_end, units, {}, preamble, 17)
    seen = read(csv_text(made, dialect).encode(encoding))
    np.testing.assert_allclose(seen.time_s, made.time_s, rtol=1e-14)
    np.testing.assert_allclose(seen.channels["voltage_kv"], voltage, rtol=1e-14, atol=1e-300)
    np.testing.assert_allclose(seen.channels["charge_pc"], charge, rtol=1e-14, atol=1e-300)


def assert_read_or_refused(content: bytes) -> None:
    try:
        recording = read(content)
    except RecordRefused as refusal:
        assert refusal.message  # noqa: PT017  both ends are lawful here
        return
    assert recording.rows >= 3
    assert np.isfinite(recording.time_s).all()
    assert (np.diff(recording.time_s) >= 0).all()
    assert all(np.isfinite(values).all() for values in recording.channels.values())


@settings(QUICK, max_examples=200)
@given(st.binary(max_size=400))
@example(b"\xff\xfe\x00")
@example(b"\r")
@example(b"0,0\n0,0\n0,0")
def test_any_bytes_are_read_or_refused(content):
    assert_read_or_refused(content)


@settings(QUICK, max_examples=200)
@given(st.text('0123456789.,;\t |-+eE"#\r\n:Tn()tskVUp[]/', max_size=300))
def test_any_text_like_a_table_is_read_or_refused(text):
    assert_read_or_refused(("time_s,voltage_kv\n" + text).encode())
    assert_read_or_refused(text.encode())


@settings(QUICK, max_examples=150)
@given(st.data())
def test_a_damaged_record_is_read_or_refused(data):
    rows = "".join(f"{i / 10},{i},{i % 7}\n" for i in range(30))
    content = bytearray(b"# Bay: 2\ntime_s,voltage_kv,charge_pc\n" + rows.encode())
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(content) - 1))
        match data.draw(st.sampled_from(["set", "cut", "insert"])):
            case "set":
                content[place] = data.draw(st.integers(0, 255))
            case "cut":
                del content[place : place + data.draw(st.integers(1, 30))]
                content = content or bytearray(b"\n")
            case _:
                content[place:place] = data.draw(st.binary(max_size=6))
    assert_read_or_refused(bytes(content))
