"""What can stand against a job."""

from __future__ import annotations


class UnknownJob(LookupError):
    """No job of this name is registered."""


class LeaseLost(Exception):
    """Another worker has taken the job over; the late one stores nothing."""


class JobRefused(Exception):
    """The job cannot be done, for a reason that people can mend; `words` are shown to them."""

    def __init__(self, words: str) -> None:
        super().__init__(words)
        self.words = words
