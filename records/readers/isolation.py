"""Reading in a child process with limits of time and memory, so that a hostile file hurts nobody else."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np

from records.readers.columns import ColumnMap
from records.readers.formats import format_of
from records.readers.pairs import first_bytes
from records.readers.previewing import Preview
from records.readers.reading import NEEDED
from records.readers.recording import DEFAULT, Limits, Recording, Samples
from records.readers.refusals import REFUSALS, MappingNeeded, ReadingTooCostly, RecordRefused
from records.readers.wanted import Wanted

_ENVIRONMENT = {
    "PATH": os.defpath,
    "POLARS_MAX_THREADS": "2",
    "OPENBLAS_NUM_THREADS": "1",
    "LC_ALL": "C.UTF-8",
    "HDF5_PLUGIN_PATH": "/nonexistent",  # no filter is loaded from a place that a file or a user names
}
_ROOT = Path(__file__).resolve().parents[2]
_MEND = "The file was not read. Export the record again as plain CSV, or in shorter parts."


def read_in_child(
    path: str | PathLike[str],
    *,
    columns: ColumnMap | None = None,
    limits: Limits = DEFAULT,
    needed: Sequence[str] = NEEDED,
    wanted: Wanted | None = None,
    companion: str | PathLike[str] | None = None,
) -> Recording:
    """Return what `read_record` returns, read by a child process with limited processor time and memory.

    Parameters
    ----------
    path, columns, limits, needed, wanted, companion
        As in `read_record`; `Limits.cpu_s` and `Limits.memory_bytes` bind here.

    Returns
    -------
    Recording
        Arrays handed back as NumPy files without pickled objects, mapped into memory.

    Raises
    ------
    ReadingTooCostly
        The child ran out of time or memory, or died.
    RecordRefused
        As `read_record`.
    OSError
        The file is not there, or cannot be opened.

    Notes
    -----
    Starting the child costs about half a second: use this for background jobs.
    """
    order: dict[str, Any] = {
        "path": str(Path(path).resolve()),
        "columns": columns.as_dict() if columns else None,
        "wanted": (wanted or Wanted.of(needed)).as_dict(),
        "companion": str(Path(companion).resolve()) if companion is not None else None,
    }
    limits = replace(limits, cpu_s=min(limits.cpu_s, format_of(first_bytes(str(path))).most_cpu_s))
    order["limits"] = vars(limits)
    with tempfile.TemporaryDirectory(prefix="record-") as room:
        try:
            # Our own interpreter and module; the file's name travels inside JSON on standard input, never in a shell.
            done = subprocess.run(
                [sys.executable, "-m", "records.readers.child", room],
                input=json.dumps(order).encode(),
                capture_output=True,
                cwd=_ROOT,
                env=_ENVIRONMENT,
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
    if "absent" in answer:
        raise OSError(answer["number"], answer["absent"])
    arrays = [_array(room / f"{place}.npy") for place in range(len(answer["channels"]) + 1)]
    channels = dict(zip(answer["channels"], arrays[1:], strict=True))
    shown = Preview.from_dict(answer["preview"]) if answer["preview"] else None
    return Recording(arrays[0], channels, answer["metadata"], tuple(answer["oddities"]), answer["sha256"], shown)


def _array(path: Path) -> Samples:
    """Return an array without a copy; it stays readable after its file's name is gone."""
    header_bytes = 128  # an empty array cannot be mapped
    is_empty = path.stat().st_size <= header_bytes
    array: Samples = np.load(path, mmap_mode=None if is_empty else "r", allow_pickle=False)
    return array.view(np.ndarray)


def _refusal(answer: dict[str, Any]) -> RecordRefused:
    kind = REFUSALS.get(answer["refused"], RecordRefused)
    if kind is MappingNeeded:
        return MappingNeeded(answer["message"], preview=Preview.from_dict(answer["preview"]), row=answer["row"])
    return kind(answer["message"], row=answer["row"])
