"""How long ten million rows of CSV take, from bytes to verdict, against polars reading that file alone."""

from __future__ import annotations

import contextlib
import json
import os
import resource
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.synthesis import Hold, voltage_profile
from records.evaluation.thinning import thin
from records.readers.isolation import read_in_child
from records.readers.kept import write_arrays
from records.readers.reading import read_record
from records.readers.wanted import WANTED_BY_KIND

pytestmark = pytest.mark.bench

ROWS = 10_000_000
ROUNDS = 5
MOST_RATIO = 3.0
"""Of processor times always, and of elapsed times where nobody else used the machine meanwhile."""

MOST_OF_OTHERS = 0.05
"""Share of the machine's processors that others may use for elapsed times to count."""

MOST_MEMORY_PER_BYTE, MOST_MEMORY_BESIDE = 2.5, 250e6
STEP = {
    "kind": "partial_discharge",
    "stages": [
        {"name": "prestress", "voltage_kv": 30, "hold_s": 60, "tolerance_pct": 3},
        {"name": "measurement", "voltage_kv": 18.71, "hold_s": 120, "tolerance_pct": 3},
    ],
    "threshold_pc": 10,
    "criteria": [{"quantity": "apparent_charge_pc", "stage": "measurement", "max": 100}],
}
WANTED = WANTED_BY_KIND["partial_discharge"]
WAYS = {"in one process": read_record, "by way of the child process that jobs use": read_in_child}


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    """Give a discharge record of ten million rows, about 200 MB."""
    path = tmp_path_factory.mktemp("bench") / "record.csv"
    at_s, level_kv = voltage_profile([Hold(30, 62), Hold(18.71, 122)], interval_s=0.1)
    time_s = np.linspace(0, at_s[-1], ROWS)
    charge = np.random.default_rng(1).uniform(1, 2, ROWS)
    columns = {"time_s": time_s.round(6), "voltage_kv": np.interp(time_s, at_s, level_kv).round(3)}
    pl.DataFrame(columns | {"charge_pc": charge.round(2)}).write_csv(path)
    return path


def floor(path: Path) -> None:
    """Read the numbers and do nothing with them."""
    schema = dict.fromkeys(("time_s", "voltage_kv", "charge_pc"), pl.Float64)
    assert pl.read_csv(path, schema=schema).height == ROWS


def whole_way(path: Path, read=read_record) -> str:
    """Hash, read, check, evaluate, store as Parquet, thin."""
    recording = read(path, wanted=WANTED)
    with ThreadPoolExecutor(max_workers=1) as aside:
        arrays = {"time_s": recording.time_s, **recording.channels}
        kept = aside.submit(write_arrays, path.with_suffix(".parquet"), arrays)
        verdict = evaluate(STEP, [recording]).verdict
        kept.result()
    for values in recording.channels.values():
        thin(recording.time_s, values, 4000)
    assert recording.rows == ROWS
    return verdict


def measured(work) -> tuple[float, float]:
    """Give the elapsed time and the processor time of a piece of work, its children's included [s]."""
    before, begun = _processor_s(), time.perf_counter()
    work()
    return time.perf_counter() - begun, _processor_s() - before


def _processor_s() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def _machine_s() -> float:
    """Give the time that all processors of the machine together were not idle [s]."""
    user, nice, system, _, _, interrupts, soft, *_ = Path("/proc/stat").read_text(encoding="ascii").split()[1:9]
    return sum(map(int, (user, nice, system, interrupts, soft))) / os.sysconf("SC_CLK_TCK")


def most_memory(process: str | int = "self") -> int:
    """Give the greatest memory of a process since it was started [bytes]; usage counts would hold its parent's."""
    status = Path(f"/proc/{process}/status").read_text(encoding="ascii")
    return 1024 * int((status.partition("VmHWM:")[2].split() or ["0"])[0])


def most_memory_of_children(work) -> int:
    """Give the greatest memory of any child process of this one while a piece of work is done [bytes]."""
    most, is_done = 0, threading.Event()

    def watch():
        nonlocal most
        while not is_done.wait(0.002):
            for task in Path("/proc/self/task").iterdir():
                for child in (task / "children").read_text(encoding="ascii").split():
                    with contextlib.suppress(OSError):
                        most = max(most, most_memory(child))

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        work()
    finally:
        is_done.set()
        watcher.join()
    return most


def test_ten_million_rows(record):
    assert whole_way(record) == "conforms"
    floors, spent = [], {name: [] for name in WAYS}
    others, begun, own = _machine_s(), time.perf_counter(), _processor_s()
    for _ in range(ROUNDS):  # in turns, so that a machine that gets busier is so for all of them
        floors.append(measured(lambda: floor(record)))
        for name, read in WAYS.items():
            spent[name].append(measured(lambda read=read: whole_way(record, read)))
    passed = (time.perf_counter() - begun) * (os.cpu_count() or 1)
    of_others = (_machine_s() - others - (_processor_s() - own)) / passed
    least = [min(one[i] for one in floors) for i in (0, 1)]
    print(
        f"\n{ROWS} rows, {record.stat().st_size / 1e6:.0f} MB; floor, polars reading it alone: {least[0]:.2f} s, "
        f"{least[1]:.2f} s of processor time; others used {of_others:.0%} of the machine"
    )
    ratios = {}
    for name, rounds in spent.items():
        elapsed, processor = (min(way[i] for way in rounds) for i in (0, 1))
        ratios[name] = (elapsed / least[0], processor / least[1])
        print(
            f"whole way {name}: {elapsed:.2f} s, {ratios[name][0]:.1f} × the floor; {processor:.2f} s of processor "
            f"time, {ratios[name][1]:.1f} × the floor"
        )
    for of_elapsed, of_processor in ratios.values():
        assert of_processor <= MOST_RATIO
        assert of_elapsed <= MOST_RATIO or of_others > MOST_OF_OTHERS


@pytest.mark.parametrize("way", WAYS)
def test_memory(way, record):
    """In a process of its own, because memory that was used once is not given back.

    While the child reads the process itself does nothing: what there is then is the child's greatest, what this one had
    before, and the arrays that are handed over, of which the child counts only what it looked at.
    """
    program = (
        "import json, sys\nfrom pathlib import Path\nfrom tests.bench.test_read_csv import *\n"
        "idle = most_memory()\n"
        "child = most_memory_of_children(lambda: whole_way(Path(sys.argv[1]), WAYS[sys.argv[2]]))\n"
        "print(json.dumps([idle, most_memory(), child]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(record), way], capture_output=True, text=True, check=True, cwd=Path.cwd()
    )
    idle, own, child = json.loads(done.stdout)
    assert (child > 0) == (WAYS[way] is read_in_child)
    handed_over = 3 * 8 * ROWS if child else 0
    most = max(own, idle + child + handed_over)
    size = record.stat().st_size
    allowed = MOST_MEMORY_PER_BYTE * size + MOST_MEMORY_BESIDE
    print(
        f"\nmemory {way}: {most / 1e6:.0f} MB at most, {idle / 1e6:.0f} MB of it before, the child {child / 1e6:.0f} "
        f"MB; allowed {allowed / 1e6:.0f} MB"
    )
    assert most <= allowed
