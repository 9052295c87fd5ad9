"""The child process of `records.readers.isolation`: reads one file under limits and leaves arrays and words."""

from __future__ import annotations

import json
import resource
import sys
from pathlib import Path
from typing import Any

import numpy as np

from records.readers.columns import ColumnMap
from records.readers.reading import read_record
from records.readers.recording import Limits, Recording
from records.readers.refusals import MappingNeeded, RecordRefused
from records.readers.wanted import Wanted
from records.readers.wording import plain_throughout


def _bind(limits: Limits) -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (limits.cpu_s, limits.cpu_s + 1))
    resource.setrlimit(resource.RLIMIT_AS, (limits.memory_bytes, limits.memory_bytes))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_NOFILE, (64, 64))
    written = 8 * 32 * limits.max_rows
    resource.setrlimit(resource.RLIMIT_FSIZE, (written, written))


def _kept(recording: Recording, room: Path) -> dict[str, Any]:
    for place, values in enumerate([recording.time_s, *recording.channels.values()]):
        np.save(room / f"{place}.npy", np.asarray(values, dtype=np.float64), allow_pickle=False)
    return {
        "channels": list(recording.channels),
        "metadata": dict(recording.metadata),
        "oddities": list(recording.oddities),
        "sha256": recording.sha256,
        "preview": recording.preview.as_dict() if recording.preview else None,
    }


def _refused(refusal: RecordRefused) -> dict[str, Any]:
    preview = refusal.preview.as_dict() if isinstance(refusal, MappingNeeded) and refusal.preview else None
    return {"refused": type(refusal).__name__, "message": refusal.message, "row": refusal.row, "preview": preview}


def main() -> int:
    """Read the order from standard input, bind the limits, read the file, leave the answer in the room."""
    room, order = Path(sys.argv[1]), json.load(sys.stdin)
    limits = Limits(**order["limits"])
    _bind(limits)
    try:
        columns = ColumnMap.from_dict(order["columns"]) if order["columns"] else None
        recording = read_record(
            order["path"],
            columns=columns,
            limits=limits,
            wanted=Wanted.from_dict(order["wanted"]),
            companion=order["companion"],
        )
        answer = _kept(recording, room)
    except RecordRefused as refusal:
        answer = _refused(refusal)
    except (MemoryError, ImportError, NameError, SystemError):
        return 3  # memory ran out, perhaps in the middle of loading a library
    except OSError as fault:
        answer = {"absent": fault.strerror or "it could not be opened", "number": fault.errno}
    (room / "answer.json").write_text(json.dumps(plain_throughout(answer)), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
