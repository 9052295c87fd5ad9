"""What can stand against a write; each says the fact in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any


class NotWriting(RuntimeError):
    """An entry was asked for outside `writing()`: it could be kept without the deed, or the deed without it."""


class AlreadySubmitted(Exception):
    """The same request was already carried out; its answer is replayed, nothing is done twice."""

    def __init__(self, key: str) -> None:
        super().__init__("This was already sent and stored once.")
        self.key = key


@dataclass(frozen=True)
class Conflict:
    """One field of an edit whose record changed meanwhile."""

    field: str
    label: str
    current: Any
    yours: Any


class StaleEdit(Exception):
    """The record was changed by somebody else after the form was opened."""

    def __init__(
        self,
        current: dict[str, Any],
        yours: dict[str, Any],
        labels: dict[str, str],
        *,
        subject: str = "",
        by: str = "",
        at: datetime | None = None,
    ) -> None:
        super().__init__("This record was changed by somebody else after you opened it. Nothing was overwritten.")
        self.current = current
        self.yours = yours
        self.labels = labels
        self.subject, self.by, self.at = subject, by, at

    @property
    def words(self) -> str:
        return str(self)

    @property
    def conflicts(self) -> list[Conflict]:
        """Return every field whose present value differs from yours."""
        return [
            Conflict(name, self.labels.get(name, name), self.current.get(name), mine)
            for name, mine in self.yours.items()
            if self.current.get(name) != mine
        ]
