"""Reading in a child process with limits of time and memory, so that a hostile file hurts nobody else."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import Any

from records.readers.columns import ColumnMap
from records.readers.formats import format_of
from records.readers.memory import arrays_in, opened
from records.readers.pairs import first_bytes
from records.readers.previewing import Preview
from records.readers.reading import NEEDED
from records.readers.recording import DEFAULT, Limits, Recording
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
_MOST_ANSWER_BYTES = 256 * 1024 * 1024
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
        Arrays in memory that the child filled and that nobody can change any more; no object of the child is unpacked.

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
    Starting the child costs about a quarter of a second: use this for background jobs.
    """
    order: dict[str, Any] = {
        "path": str(Path(path).resolve()),
        "columns": columns.as_dict() if columns else None,
        "wanted": (wanted or Wanted.of(needed)).as_dict(),
        "companion": str(Path(companion).resolve()) if companion is not None else None,
    }
    limits = replace(limits, cpu_s=min(limits.cpu_s, format_of(first_bytes(str(path))).most_cpu_s))
    order["limits"] = vars(limits)
    with opened() as arrays, opened() as answer:
        try:
            # Our own interpreter and module; the file's name travels inside JSON on standard input, never in a shell.
            done = subprocess.run(
                [sys.executable, "-m", "records.readers.child", str(arrays), str(answer)],
                input=json.dumps(order).encode(),
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                pass_fds=(arrays, answer),
                cwd=_ROOT,
                env=_ENVIRONMENT,
                timeout=3 * limits.cpu_s,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise ReadingTooCostly(f"Reading took more than {3 * limits.cpu_s} s. {_MEND}") from None
        if not os.fstat(answer).st_size:
            raise ReadingTooCostly(
                f"Reading stopped (status {done.returncode}): it needed more than {limits.cpu_s} s of processor time "
                f"or {limits.memory_bytes / 1e9:.1f} GB of memory. {_MEND}"
            )
        try:
            told = _collect(arrays, answer)
        except (ValueError, LookupError, TypeError, AttributeError, RecursionError, OSError):
            raise ReadingTooCostly(f"Reading stopped before all that was read could be handed over. {_MEND}") from None
    if isinstance(told, Exception):
        raise told
    return told


def _collect(arrays: int, answer: int) -> Recording | RecordRefused | OSError:
    """Return the recording or what is to be raised; anything else that comes out of a child raises what it may."""
    size = os.fstat(answer).st_size
    if size > _MOST_ANSWER_BYTES:
        raise ValueError(f"The answer has {size} bytes.")
    told: dict[str, Any] = json.loads(os.pread(answer, size, 0))
    if "refused" in told:
        return _refusal(told)
    if "absent" in told:
        return OSError(told["number"], told["absent"])
    time_s, *channels = arrays_in(arrays, told["places"])
    named = dict(zip(told["channels"], channels, strict=True))
    shown = Preview.from_dict(told["preview"]) if told["preview"] else None
    return Recording(time_s, named, told["metadata"], tuple(told["oddities"]), told["sha256"], shown)


def _refusal(answer: dict[str, Any]) -> RecordRefused:
    kind = REFUSALS.get(answer["refused"], RecordRefused)
    if kind is MappingNeeded:
        return MappingNeeded(answer["message"], preview=Preview.from_dict(answer["preview"]), row=answer["row"])
    return kind(answer["message"], row=answer["row"])
