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


def _bind(limits: Limits) -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (limits.cpu_s, limits.cpu_s + 1))
    resource.setrlimit(resource.RLIMIT_AS, (limits.memory_bytes, limits.memory_bytes))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _kept(recording: Recording, room: Path) -> dict[str, Any]:
    np.save(room / "arrays.npy", np.vstack([recording.time_s, *recording.channels.values()]), allow_pickle=False)
    return {
        "channels": list(recording.channels),
        "metadata": dict(recording.metadata),
        "oddities": list(recording.oddities),
        "sha256": recording.sha256,
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
        recording = read_record(order["path"], columns=columns, limits=limits, needed=order["needed"])
        answer = _kept(recording, room)
    except RecordRefused as refusal:
        answer = _refused(refusal)
    except MemoryError:
        return 3
    (room / "answer.json").write_text(json.dumps(answer), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
