"""What an evaluation gives back: findings, verdict, and what the picture needs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from records.evaluation.quantities import Judges

Verdict = Literal["conforms", "does_not_conform", "inconclusive", "not_valid"]

# Rises with every change that can alter a number or a verdict; each finding is kept with it.
EVALUATION_VERSION = "3.0"


@dataclass(frozen=True)
class Finding:
    """One quantity against one criterion.

    Attributes
    ----------
    quantity, unit : str
        Name with unit, and the unit's symbol.
    stage : str or None
        The stage that it was read in.
    value, expanded_uncertainty : float or None
        Measured value and U [unit]; None where it could not be determined, or its uncertainty is not known.
    coverage_factor : float
        k, dimensionless.
    minimum, maximum : float or None
        Limits [unit].
    decision : str
        Name of the decision rule.
    probability_of_conformity : float or None
        0 to 1; None where the uncertainty is not known.
    judges : str
        ``unit`` or ``test``.
    verdict : str
        ``conforms``, ``does_not_conform``, ``inconclusive`` or ``not_valid``.
    reason : str
        Plain words with numbers.
    is_implied : bool
        Whether the standards always ask it, though the procedure does not list it.
    correction : str
        How the reading behind it was corrected, in a sentence; empty where nothing was.
    statement : str or None
        Four-state statement of ILAC-G8 (``pass``, ``conditional_pass``, ``conditional_fail``, ``fail``) that the rule
        gives; None where no limit decided, or where a fault of the test went before it.
    has_four_states : bool
        Whether it was agreed to state it, beside the verdict.
    """

    quantity: str
    unit: str
    stage: str | None
    value: float | None
    expanded_uncertainty: float | None
    coverage_factor: float
    minimum: float | None
    maximum: float | None
    decision: str
    probability_of_conformity: float | None
    judges: Judges
    verdict: Verdict
    reason: str
    is_implied: bool = False
    correction: str = ""
    statement: str | None = None
    has_four_states: bool = False

    @property
    def standard_uncertainty(self) -> float | None:
        """u = U/k [unit]; None where U is not known, and for counts, which have none."""
        return None if self.expanded_uncertainty is None else self.expanded_uncertainty / self.coverage_factor

    def as_dict(self) -> dict[str, Any]:
        """Return the finding with the keys of the shell contract."""
        told: dict[str, Any] = {"correction": self.correction} if self.correction else {}
        if self.has_four_states:
            told["has_four_states"] = True
        return told | {
            "quantity": self.quantity,
            "stage": self.stage,
            "value": _finite(self.value),
            "unit": self.unit,
            "standard_uncertainty": _finite(self.standard_uncertainty),
            "expanded_uncertainty": _finite(self.expanded_uncertainty),
            "coverage_factor": self.coverage_factor,
            "min": _finite(self.minimum),
            "max": _finite(self.maximum),
            "decision": self.decision,
            "probability_of_conformity": _finite(self.probability_of_conformity),
            "statement": self.statement,
            "judges": self.judges,
            "verdict": self.verdict,
            "reason": self.reason,
        }


@dataclass(frozen=True)
class FoundStage:
    """A stage as the record shows it: times [s] from its own zero, mean voltage [kV] and length [s] of the hold."""

    name: str
    reached_s: float
    start_s: float
    end_s: float
    held_s: float
    voltage_kv: float


@dataclass(frozen=True)
class Event:
    """Something that happened at one moment: ``inception``, ``extinction`` or ``disruptive_discharge``."""

    name: str
    time_s: float
    voltage_kv: float


@dataclass(frozen=True)
class Evaluation:
    """Everything that one record says about one step.

    Attributes
    ----------
    verdict : str
        Of the whole step.
    findings : tuple of Finding
        What the standards always ask first, then the procedure's criteria in order.
    stages : tuple of FoundStage
        Those that were reached, for the picture.
    events : tuple of Event
        In order of time, for the picture.
    remarks : tuple of str
        What a reviewer should know and no criterion asks.
    rows, sha256, duration_s
        Of the record; for a record in parts the digest over the parts' digests, in order of time.
    version : str
        `EVALUATION_VERSION` at the time.
    details : mapping
        What the picture of this kind needs besides.
    """

    verdict: Verdict
    findings: tuple[Finding, ...]
    stages: tuple[FoundStage, ...]
    events: tuple[Event, ...]
    remarks: tuple[str, ...]
    rows: int
    sha256: str
    duration_s: float
    version: str = EVALUATION_VERSION
    details: Mapping[str, Any] = field(default_factory=dict)

    def as_dict(self) -> dict[str, Any]:
        """Return the evaluation with the keys of the shell contract, and what the picture needs beside them."""
        return {
            "verdict": self.verdict,
            "findings": [finding.as_dict() for finding in self.findings],
            "recording": {"rows": self.rows, "sha256": self.sha256, "duration_s": self.duration_s},
            "stages": [dict(vars(stage)) for stage in self.stages],
            "events": [dict(vars(event)) for event in self.events],
            "remarks": list(self.remarks),
            "evaluation_version": self.version,
            "details": dict(self.details),
        }


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
