"""What a reviewer is shown to look at."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Matter:
    """One thing to look at: tone (bad, warn, info) and words."""

    tone: str
    words: str
