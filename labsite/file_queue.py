"""Celery's queue of files, with messages that appear whole: the library's own are seen while they are still empty."""

from __future__ import annotations

import contextlib
import os
import time
import uuid
from pathlib import Path
from queue import Empty
from typing import Any

from kombu.transport import TRANSPORT_ALIASES, filesystem
from kombu.utils.json import dumps, loads


class Channel(filesystem.Channel):
    """Writes a message aside and renames it in; a broken one is taken as lost, for the sweeper wakes again."""

    def _put(self, queue: str, payload: Any, **kwargs: Any) -> None:  # type: ignore[override]  # its parents disagree
        folder = Path(self.data_folder_out)
        name = f"{round(time.monotonic() * 1000)}_{uuid.uuid4()}.{queue}.msg"
        part = folder / f".{name}.part"
        part.write_text(dumps(payload), encoding="utf-8")
        os.replace(part, folder / name)

    def _get(self, queue: str, timeout: float | None = None) -> Any:
        for found in sorted(Path(self.data_folder_in).glob(f"*.{queue}.msg")):
            taken = found.with_name(f".{found.name}.{uuid.uuid4().hex}.taken")
            try:
                os.replace(found, taken)
                text = taken.read_text(encoding="utf-8")
                taken.unlink()
                return loads(text)
            except FileNotFoundError:
                continue  # another worker was quicker
            except ValueError:
                taken.unlink(missing_ok=True)
        raise Empty


class Transport(filesystem.Transport):
    """The transport behind `filesystem://`, read from the worker's event loop.

    Without an event loop Celery hands work to its children through one pipe under a lock that they share, and a child
    killed while it holds the lock stops all others for ever. With it each child has a pipe of its own.
    """

    Channel = Channel
    implements = filesystem.Transport.implements.extend(asynchronous=True)

    def register_with_event_loop(self, connection: Any, loop: Any) -> None:
        """Look for files each polling interval."""
        loop.call_repeatedly(self.polling_interval, self._take_what_waits)

    def _take_what_waits(self) -> None:
        """Deliver messages until none waits or the worker has enough."""
        with contextlib.suppress(Empty):
            while self.cycle is not None:
                self.cycle.get(self._deliver)


def use() -> None:
    """Let `filesystem://` mean this transport."""
    TRANSPORT_ALIASES["filesystem"] = "labsite.file_queue:Transport"
