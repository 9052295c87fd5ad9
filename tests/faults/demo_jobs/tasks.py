"""A job that takes a moment and then writes one ledger entry."""

from __future__ import annotations

import time

from django.conf import settings

from labsite.jobs.registry import job
from labsite.jobs.services import Progress
from labsite.ledger.services import record_entry

SLOW_S, QUICK_S = 1.2, 0.02


def _work() -> None:
    """Take long while the folder holds a file named slow, so that a kill meets a running job."""
    time.sleep(SLOW_S / 2 if (settings.VAR / "slow").exists() else QUICK_S / 2)


@job("demo.count", stages=("Reading", "Checking"))
def count(progress: Progress, number: int) -> None:
    """Work a little, then store one effect."""
    progress.stage("Reading", 10)
    _work()
    progress.stage("Checking", 60)
    _work()
    with progress.completing("Counted."):
        record_entry(action="demo.effect", subject=("demo.thing", number, f"Thing {number}"), by="Worker")
