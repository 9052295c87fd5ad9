"""Figures of the trade that hold where a step states none of its own, each with its source, from ``usual.toml``."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files


@dataclass(frozen=True)
class Usual:
    """One figure.

    Attributes
    ----------
    what : str
        What it is for.
    value : float
        The figure [unit in its name]; not a number where it has bounds.
    low, high : float or None
        Bounds [unit in its name].
    document, edition, clause, confidence : str
        Where it comes from: ``published``, ``memory`` or ``common practice``.
    """

    what: str
    document: str
    edition: str
    clause: str
    confidence: str
    value: float = math.nan
    low: float | None = None
    high: float | None = None

    @property
    def bounds(self) -> tuple[float, float]:
        """Both bounds; infinite where one is not stated."""
        return (-math.inf if self.low is None else self.low), (math.inf if self.high is None else self.high)

    @property
    def source(self) -> str:
        """Document and confidence in words."""
        if self.confidence == "common practice":
            return "common practice, no source"
        said = f"{self.document}:{self.edition}" if self.edition else self.document
        return f"{said}, {'from memory' if self.confidence == 'memory' else self.confidence}"


def _load() -> Mapping[str, Usual]:
    table = tomllib.loads(files(__package__).joinpath("usual.toml").read_text(encoding="utf-8"))
    return {name: Usual(**row) for name, row in table.items()}


USUAL: Mapping[str, Usual] = _load()
