"""Reading in a child process with limits of time and memory, so that a hostile file hurts nobody else."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np

from records.readers.columns import ColumnMap
from records.readers.previewing import Preview
from records.readers.reading import NEEDED
from records.readers.recording import DEFAULT, Limits, Recording
from records.readers.refusals import REFUSALS, MappingNeeded, ReadingTooCostly, RecordRefused

_ROOT = Path(__file__).resolve().parents[2]
_MEND = "The file was not read. Export the record again as plain CSV, or in shorter parts."


def read_in_child(
    path: str | PathLike[str],
    *,
    columns: ColumnMap | None = None,
    limits: Limits = DEFAULT,
    needed: Sequence[str] = NEEDED,
) -> Recording:
    """Return what `read_record` returns, read by a child process with limited processor time and memory.

    Parameters
    ----------
    path, columns, limits, needed
        As in `read_record`; `Limits.cpu_s` and `Limits.memory_bytes` bind here.

    Returns
    -------
    Recording
        Arrays handed back as one NumPy file without pickled objects.

    Raises
    ------
    ReadingTooCostly
        The child ran out of time or memory, or died.
    RecordRefused
        As `read_record`.

    Notes
    -----
    Starting the child costs about half a second: use this for background jobs.
    """
    order = {
        "path": str(Path(path).resolve()),
        "columns": columns.as_dict() if columns else None,
        "limits": vars(limits),
        "needed": list(needed),
    }
    with tempfile.TemporaryDirectory(prefix="record-") as room:
        try:
            # Our own interpreter and module; the file's name travels inside JSON on standard input, never in a shell.
            done = subprocess.run(
                [sys.executable, "-m", "records.readers.child", room],
                input=json.dumps(order).encode(),
                capture_output=True,
                cwd=_ROOT,
                env={"PATH": os.defpath, "POLARS_MAX_THREADS": "2", "OPENBLAS_NUM_THREADS": "1", "LC_ALL": "C.UTF-8"},
                timeout=3 * limits.cpu_s,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise ReadingTooCostly(f"Reading took more than {3 * limits.cpu_s} s. {_MEND}") from None
        return _collect(Path(room), done.returncode, limits)


def _collect(room: Path, status: int, limits: Limits) -> Recording:
    answer_file = room / "answer.json"
    if not answer_file.exists():
        raise ReadingTooCostly(
            f"Reading stopped (status {status}): it needed more than {limits.cpu_s} s of processor time or "
            f"{limits.memory_bytes / 1e9:.1f} GB of memory. {_MEND}"
        )
    answer: dict[str, Any] = json.loads(answer_file.read_text(encoding="utf-8"))
    if "refused" in answer:
        raise _refusal(answer)
    arrays = np.load(room / "arrays.npy", allow_pickle=False)
    channels = {name: arrays[place + 1] for place, name in enumerate(answer["channels"])}
    return Recording(arrays[0], channels, answer["metadata"], tuple(answer["oddities"]), answer["sha256"])


def _refusal(answer: dict[str, Any]) -> RecordRefused:
    kind = REFUSALS.get(answer["refused"], RecordRefused)
    if kind is MappingNeeded:
        return MappingNeeded(answer["message"], preview=Preview.from_dict(answer["preview"]), row=answer["row"])
    return kind(answer["message"], row=answer["row"])
