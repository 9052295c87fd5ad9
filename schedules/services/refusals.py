"""What the services of this app refuse, said in words."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Refusal:
    """One thing that stands against a request; `field` is its place on the form, empty for the whole of it."""

    field: str
    words: str


class ScheduleRefused(Exception):
    """A request that the rules of this room do not allow; nothing was stored."""

    def __init__(self, *refusals: Refusal) -> None:
        self.refusals = refusals
        super().__init__(self.words)

    @property
    def words(self) -> str:
        """Return every refusal as sentences."""
        return " ".join(refusal.words for refusal in self.refusals)

    @classmethod
    def of(cls, words: str, field: str = "") -> ScheduleRefused:
        """Return the refusal of one thing."""
        return cls(Refusal(field, words))
