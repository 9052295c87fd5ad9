"""Arrays that two processes share: the same bits, no place outside, and nothing changed after it was checked."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest

from records.readers import memory
from records.readers.isolation import read_in_child
from records.readers.memory import OWN, SharedMemory, arrays_in, opened
from records.readers.reading import read_record

ODD = np.array([-0.0, 5e-324, np.nextafter(1.0, 2.0), -1.7976931348623157e308])


@pytest.fixture
def handle():
    with opened() as descriptor:
        yield descriptor


FILL = """
import sys
import numpy as np
from records.readers.memory import SharedMemory
table = SharedMemory(int(sys.argv[1])).table(2, 4)
odd = np.array([float.fromhex(one) for one in sys.argv[2:]])
table[0, :4], table[1, :4] = odd, odd[::-1]
"""


def filled(handle):
    """Let another process make a table of two columns and fill it, as a child does."""
    values = [float(one).hex() for one in ODD]
    subprocess.run([sys.executable, "-c", FILL, str(handle), *values], pass_fds=(handle,), check=True)


def test_columns_come_over_bit_for_bit_and_cannot_be_written(handle):
    filled(handle)
    column = memory._PAGE_VALUES * 8
    first, second, none = arrays_in(handle, [(0, 4), (column, 4), (0, 0)])
    assert (first.tobytes(), second.tobytes(), len(none)) == (ODD.tobytes(), ODD[::-1].tobytes(), 0)
    with pytest.raises(ValueError, match="read-only"):
        first[0] = 1.0


def test_a_column_of_a_table_is_not_copied_and_any_other_array_is(handle):
    shared = SharedMemory(handle)
    table = shared.table(3, 1000)
    assert table.shape[0] == 3
    assert table.shape[1] >= 1000
    size = os.fstat(handle).st_size
    assert shared.place(table[2, 10:900]) == (2 * 8 * table.shape[1] + 80, 890)
    assert os.fstat(handle).st_size == size
    offset, rows = shared.place(ODD[::2])
    assert os.pread(handle, 8 * rows, offset) == ODD[::2].tobytes()
    assert offset >= size
    assert shared.place(np.empty(0))[1] == 0


@pytest.mark.parametrize("rows", [100, 400_000])
def test_memory_that_is_given_back_is_free(rows, handle):
    shared = SharedMemory(handle)
    table = shared.table(2, rows)
    table[:] = 1.0
    used = os.fstat(handle).st_blocks
    assert used * 512 >= table.nbytes
    shared.give_back(table)
    assert os.fstat(handle).st_blocks * 512 <= used * 512 - table.nbytes


@pytest.mark.parametrize(
    "place", [(-8, 1), (0, -1), (4, 1), (0, 2 * memory._PAGE_VALUES + 1), (8192, 1), (8192 - 8, 2), (2**62, 1)]
)
def test_a_place_outside_is_refused(place, handle):
    filled(handle)
    assert os.fstat(handle).st_size == 8192
    with pytest.raises(ValueError, match="lies outside the 8192 bytes"):
        arrays_in(handle, [(0, 4), place])


@pytest.mark.skipif(not memory._HAS_SEALS, reason="this system has no files that can be sealed")
def test_what_was_checked_cannot_be_changed(handle):
    filled(handle)
    arrays_in(handle, [(0, 4)])
    for change in (lambda: os.pwrite(handle, b"x", 0), lambda: os.ftruncate(handle, 0)):
        with pytest.raises(PermissionError):
            change()
    with pytest.raises(MemoryError):
        SharedMemory(handle).table(1, 1)


@pytest.mark.skipif(not memory._HAS_SEALS, reason="this system has no files that can be sealed")
def test_memory_that_somebody_can_still_write_into_is_not_taken(handle):
    table = SharedMemory(handle).table(1, 4)
    with pytest.raises(OSError, match="busy"):
        arrays_in(handle, [(0, 4)])
    assert table.shape[0] == 1


def test_memory_of_its_own():
    table = OWN.table(2, 5)
    assert (table.shape, table.dtype) == ((2, 5), np.float64)
    OWN.give_back(table)


@pytest.mark.parametrize("has_seals", [True, False])
def test_the_child_hands_over_the_same_bits_with_either_kind_of_file(has_seals, monkeypatch, tmp_path):
    monkeypatch.setattr(memory, "_HAS_SEALS", has_seals and memory._HAS_SEALS)
    path = tmp_path / "record.csv"
    path.write_text("t (ms);U (V)\n" + "".join(f"{n};{n / 7}\n" for n in range(5000)), encoding="utf-8")
    ours, theirs = read_record(path), read_in_child(path)
    assert theirs.time_s.tobytes() == ours.time_s.tobytes()
    assert theirs.channels["voltage_kv"].tobytes() == ours.channels["voltage_kv"].tobytes()
    np.testing.assert_array_equal(theirs.time_s, [n * 1e-3 for n in range(5000)])


BOUND = """
import resource, sys
import numpy as np
from records.readers.memory import SharedMemory
resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
shared = SharedMemory(int(sys.argv[1]))
for made in (lambda: shared.table(1, 513), lambda: shared.place(np.zeros(513))):
    try:
        made()
    except MemoryError as fault:
        print(fault)
print(shared.place(np.zeros(512)))
"""


def test_a_process_makes_no_more_of_it_than_its_limit(handle):
    done = subprocess.run(
        [sys.executable, "-c", BOUND, str(handle)], pass_fds=(handle,), capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines() == ["File too large", "File too large", "(0, 512)"]
