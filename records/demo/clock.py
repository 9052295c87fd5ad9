"""A clock that the demonstration moves, so that two years of work can be entered in one minute."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from unittest import mock

from django.utils import timezone


class Clock:
    """Holds the moment that the services see as now; each reading moves it on by a second."""

    def __init__(self, start: datetime) -> None:
        self.moment = start

    def now(self) -> datetime:
        """Return the moment and let a second pass."""
        self.moment += timedelta(seconds=1)
        return self.moment

    def move_to(self, moment: datetime) -> None:
        """Go to a later moment; the clock never goes back."""
        self.moment = max(self.moment, moment)

    def wait(self, **duration: float) -> None:
        """Let time pass."""
        self.moment += timedelta(**duration)


@contextmanager
def moved_clock(start: datetime) -> Iterator[Clock]:
    """Let `timezone.now()` read a clock of our own while the story is played."""
    clock = Clock(start)
    with mock.patch.object(timezone, "now", clock.now):
        yield clock
