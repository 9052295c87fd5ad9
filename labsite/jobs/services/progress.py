"""What a running job says of itself; saying it keeps the lease."""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType

from django.db import DatabaseError, connection, connections

from labsite.jobs.errors import LeaseLost
from labsite.jobs.services import leases

log = logging.getLogger(__name__)
RENEW_EACH_S = leases.LEASE.total_seconds() / 3


class Progress:
    """A job's voice: `stage` says where it is, `completing` stores its results and ends it."""

    def __init__(self, claim: leases.Claim) -> None:
        self.claim = claim
        self.is_completed = False
        self.is_lost = False

    def stage(self, name: str, percent: int) -> None:
        """Say the stage and how far the job is (0 to 100); raise `LeaseLost` when another worker has it."""
        if self.is_lost:
            raise LeaseLost(f"Job {self.claim.job_id} was taken over by another worker.")
        leases.renew(self.claim, stage=name[:100], progress=max(0, min(100, int(percent))))

    @contextmanager
    def completing(self, words: str = "") -> Iterator[None]:
        """Store the results inside; the same transaction marks the job done, or nothing is stored."""
        with leases.completing(self.claim, words):
            yield
        self.is_completed = True


class Heartbeat:
    """Renews the lease beside the work, so that a long computation keeps its job."""

    def __init__(self, progress: Progress) -> None:
        self.progress = progress
        self._is_over = threading.Event()
        self._thread = threading.Thread(target=self._beat, name="job heartbeat", daemon=True)

    def __enter__(self) -> None:
        # Inside a transaction of the caller's another connection cannot see the claim: there is nothing to renew yet.
        if not connection.in_atomic_block:
            self._thread.start()

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._is_over.set()
        if self._thread.ident is not None:
            self._thread.join()

    def _beat(self) -> None:
        try:
            while not self._is_over.wait(RENEW_EACH_S):
                self._renew()
        finally:
            connections.close_all()

    def _renew(self) -> None:
        try:
            leases.renew(self.progress.claim)
        except LeaseLost:
            self.progress.is_lost = not self.progress.is_completed
            self._is_over.set()
        except DatabaseError:
            log.warning("The lease of job %s could not be renewed.", self.progress.claim.job_id, exc_info=True)
