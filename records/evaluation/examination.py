"""What the module of one kind hands to the evaluation."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from records.evaluation.findings import Event, FoundStage
from records.evaluation.measured import Measured
from records.evaluation.step import Criterion


class NotExaminable(ValueError):
    """Sound arrays that the kind cannot be judged on; the message says why, in a sentence."""


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
    details : mapping
        What the picture of this kind needs besides, as plain values that JSON can hold: fitted parameters, marks.
    """

    measure: Callable[[Criterion], Measured]
    implied: tuple[Criterion, ...]
    stages: tuple[FoundStage, ...]
    events: tuple[Event, ...]
    remarks: tuple[str, ...] = ()
    overstressed: str = ""
    details: Mapping[str, Any] = field(default_factory=dict)


def as_told(criterion: Criterion, measured: Measured) -> Measured:
    """Return what was measured, settled as conforming where it has a value and the criterion only tells it.

    A criterion tells and does not judge where it is implied and has no limit. What could not be determined is not
    settled by this: it stays inconclusive.
    """
    is_told = criterion.is_implied and criterion.minimum is None and criterion.maximum is None
    if is_told and measured.value is not None and measured.settled is None:
        return replace(measured, settled="conforms")
    return measured
