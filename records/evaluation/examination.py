"""What the module of one kind hands to the evaluation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from records.evaluation.findings import Event, FoundStage
from records.evaluation.measured import Measured
from records.evaluation.step import Criterion


@dataclass(frozen=True)
class Examination:
    """One record looked at as one kind of test.

    Attributes
    ----------
    measure : callable
        Criterion to what the record says about its quantity.
    implied : tuple of Criterion
        What the standards always ask of this kind.
    stages, events
        For the picture.
    remarks : tuple of str
        For the reviewer.
    overstressed : str
        A sentence where the unit saw clearly more voltage than the plan allows, else empty.
    """

    measure: Callable[[Criterion], Measured]
    implied: tuple[Criterion, ...]
    stages: tuple[FoundStage, ...]
    events: tuple[Event, ...]
    remarks: tuple[str, ...] = ()
    overstressed: str = ""
