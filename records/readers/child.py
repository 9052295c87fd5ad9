"""The child process of `records.readers.isolation`: reads one file under limits and leaves arrays and words."""

from __future__ import annotations

import gc
import json
import os
import resource
import sys
from typing import Any

from records.readers.columns import ColumnMap
from records.readers.memory import SharedMemory
from records.readers.reading import read_record
from records.readers.recording import Limits, Recording
from records.readers.refusals import MappingNeeded, RecordRefused
from records.readers.wanted import Wanted
from records.readers.wording import plain_throughout

_SLACK_BYTES = 64 * 1024 * 1024  # room that is made and not filled, where the limit of rows is low


def _bind(limits: Limits) -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (limits.cpu_s, limits.cpu_s + 1))
    resource.setrlimit(resource.RLIMIT_AS, (limits.memory_bytes, limits.memory_bytes))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_NOFILE, (64, 64))
    written = 8 * 32 * limits.max_rows + _SLACK_BYTES
    resource.setrlimit(resource.RLIMIT_FSIZE, (written, written))


def _told(recording: Recording, memory: SharedMemory) -> dict[str, Any]:
    return {
        "channels": list(recording.channels),
        "places": [memory.place(values) for values in (recording.time_s, *recording.channels.values())],
        "metadata": dict(recording.metadata),
        "oddities": list(recording.oddities),
        "sha256": recording.sha256,
        "preview": recording.preview.as_dict() if recording.preview else None,
    }


def _refused(refusal: RecordRefused) -> dict[str, Any]:
    preview = refusal.preview.as_dict() if isinstance(refusal, MappingNeeded) and refusal.preview else None
    return {"refused": type(refusal).__name__, "message": refusal.message, "row": refusal.row, "preview": preview}


def main() -> int:
    """Read the order from standard input, bind the limits, read the file, leave arrays and answer in two open files."""
    arrays, answered = map(int, sys.argv[1:])
    order = json.load(sys.stdin)
    limits = Limits(**order["limits"])
    _bind(limits)
    gc.disable()  # this process lives for one file, and what the libraries make while they are loaded stays
    memory = SharedMemory(arrays)
    try:
        columns = ColumnMap.from_dict(order["columns"]) if order["columns"] else None
        recording = read_record(
            order["path"],
            columns=columns,
            limits=limits,
            wanted=Wanted.from_dict(order["wanted"]),
            companion=order["companion"],
            memory=memory,
        )
        answer = _told(recording, memory)
    except RecordRefused as refusal:
        answer = _refused(refusal)
    except (MemoryError, ImportError, NameError, SystemError):
        return 3  # memory ran out, perhaps in the middle of loading a library
    except OSError as fault:
        answer = {"absent": fault.strerror or "it could not be opened", "number": fault.errno}
    with open(answered, "w", encoding="utf-8") as file:
        json.dump(plain_throughout(answer), file)
    return 0


if __name__ == "__main__":
    # Everything is written; taking down the libraries' threads and objects would only keep the parent waiting.
    os._exit(main())
