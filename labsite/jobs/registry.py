"""Which function does a job of which name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from labsite.jobs.errors import UnknownJob

if TYPE_CHECKING:
    from labsite.jobs.services.progress import Progress

Handler = Callable[..., Any]


@dataclass(frozen=True)
class Registered:
    """A job's name, its function and the stages people see."""

    name: str
    handler: Handler
    stages: tuple[str, ...] = ()

    def run(self, progress: Progress, args: dict[str, Any]) -> None:
        self.handler(progress, **args)


_registered: dict[str, Registered] = {}


def job(name: str, stages: tuple[str, ...] = ()) -> Callable[[Handler], Handler]:
    """Register a function as the job `name`; it is called as `handler(progress, **args)`.

    It reads and computes outside any transaction, says where it is by `progress.stage("Reading", 20)`, and stores its
    results inside `with progress.completing():`, which is the one transaction that also marks the job done.
    """

    def register(handler: Handler) -> Handler:
        known = _registered.get(name)
        if known is not None and known.handler.__qualname__ != handler.__qualname__:
            raise ValueError(f"The job {name} is registered twice.")
        _registered[name] = Registered(name, handler, tuple(stages))
        return handler

    return register


def registered(name: str) -> Registered:
    """Return the job of this name, or raise `UnknownJob`."""
    try:
        return _registered[name]
    except KeyError:
        raise UnknownJob(f"There is no job {name!r}. Known: {', '.join(sorted(_registered)) or 'none'}.") from None
