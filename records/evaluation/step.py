"""One step of a plan as the evaluation needs it: stages and criteria, parsed strictly."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from equipment.metrology.conformity import DECISION_RULES
from records.evaluation.quantities import QUANTITIES, QUANTITIES_BY_KIND, Judges

# Test-voltage tolerance where a stage states none: IEC 60060-1:2010 clause 6, from memory.
_SHORT_HOLD_S, _TOLERANCE_SHORT_PCT, _TOLERANCE_LONG_PCT = 60.0, 1.0, 3.0
_SLACK = 1e-9  # relative: converting V to kV must not push a set point out of its own band


class BadStep(ValueError):
    """The step cannot be evaluated as it is written; the message names the key and the mend."""


@dataclass(frozen=True)
class Stage:
    """One energised stage.

    Attributes
    ----------
    name : str
        As the plan calls it.
    voltage_kv : float
        Set point [kV].
    hold_s : float
        Time that it must be held [s].
    tolerance_pct : float
        Half width of the band around the set point [%].
    """

    name: str
    voltage_kv: float
    hold_s: float
    tolerance_pct: float

    @property
    def low_kv(self) -> float:
        """Lower edge of the band [kV]."""
        return self.voltage_kv * (1 - self.tolerance_pct / 100) * (1 - _SLACK)

    @property
    def high_kv(self) -> float:
        """Upper edge of the band [kV]."""
        return self.voltage_kv * (1 + self.tolerance_pct / 100) * (1 + _SLACK)

    @property
    def in_words(self) -> str:
        """Set point, tolerance and hold as the plan asks them."""
        return f"{self.voltage_kv:g} kV ± {self.tolerance_pct:g} % for {self.hold_s:g} s"


@dataclass(frozen=True)
class Criterion:
    """One quantity with its limits.

    Attributes
    ----------
    quantity : str
        Name with unit.
    stage : str or None
        The stage that it is read in.
    minimum, maximum : float or None
        Limits [unit of the quantity].
    decision : str
        Name of the decision rule.
    guard_factor : float or None
        r in w = r U, where the customer names it.
    judges : str
        ``unit`` or ``test``.
    window_s : float or None
        Length of the window that apparent charge is read in [s].
    is_implied : bool
        Whether the standards always ask it, though the procedure does not list it.
    """

    quantity: str
    stage: str | None = None
    minimum: float | None = None
    maximum: float | None = None
    decision: str = "simple_acceptance"
    guard_factor: float | None = None
    judges: Judges = "unit"
    window_s: float | None = None
    is_implied: bool = False


@dataclass(frozen=True)
class Step:
    """One test of a plan: kind, stages in order, criteria, and what the procedure names besides."""

    kind: str
    title: str
    stages: tuple[Stage, ...]
    criteria: tuple[Criterion, ...]
    threshold_pc: float | None = None
    window_s: float | None = None

    def stage(self, name: str | None) -> Stage | None:
        """Return the stage of that name, or None."""
        return next((stage for stage in self.stages if stage.name == name), None)


def parse_step(content: Any) -> Step:
    """Return the step that STEP.json holds.

    Parameters
    ----------
    content : mapping
        One step of a plan; ``stages``, ``criteria`` and the rest stand in ``procedure`` or beside it.

    Returns
    -------
    Step
        Frozen.

    Raises
    ------
    BadStep
        A key is missing, unknown in its place, or has a value that cannot be; the key and the mend are named.
    """
    if not isinstance(content, Mapping):
        raise BadStep("The step must be one object: give one step of the plan, not the whole plan.")
    if "kind" not in content and "steps" in content:
        raise BadStep("steps: this is a whole plan. Give one of its steps.")
    kind = content.get("kind")
    if kind not in QUANTITIES_BY_KIND:
        known = ", ".join(QUANTITIES_BY_KIND)
        raise BadStep(f"kind: “{kind}” cannot be evaluated; use one of {known}.")
    procedure = content.get("procedure", {})
    if not isinstance(procedure, Mapping):
        raise BadStep("procedure: must be an object with stages and criteria.")
    merged = {**content, **procedure}
    stages = _stages(merged.get("stages"))
    criteria = _criteria(merged.get("criteria", []), str(kind), stages)
    threshold = _number(merged, "threshold_pc", "threshold_pc", above=0.0, is_optional=True)
    window = _number(merged, "window_s", "window_s", above=0.0, is_optional=True)
    if kind == "partial_discharge" and not any(criterion.judges == "unit" for criterion in criteria):
        raise BadStep("criteria: none judges the unit; name at least one, as apparent_charge_pc with its max.")
    return Step(str(kind), str(content.get("title", kind)), stages, criteria, threshold, window)


def _number(
    row: Mapping[str, Any], key: str, place: str, *, above: float | None = None, is_optional: bool = False
) -> float | None:
    value = row.get(key)
    if value is None:
        if is_optional:
            return None
        raise BadStep(f"{place}: is missing; state a number.")
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BadStep(f"{place}: “{value}” is not a finite number; state one.")
    if above is not None and value <= above:
        raise BadStep(f"{place}: {value:g} must be above {above:g}.")
    return float(value)


def _rows(content: Any, place: str) -> Sequence[Mapping[str, Any]]:
    if not isinstance(content, list | tuple) or not all(isinstance(row, Mapping) for row in content):
        raise BadStep(f"{place}: must be a list of objects.")
    return content


def _stages(content: Any) -> tuple[Stage, ...]:
    if not content:
        raise BadStep("stages: at least one is needed, with name, voltage_kv and hold_s.")
    stages = tuple(_stage(row, f"stages[{place}]") for place, row in enumerate(_rows(content, "stages")))
    names = [stage.name for stage in stages]
    repeated = next((name for name in names if names.count(name) > 1), None)
    if repeated is not None:
        raise BadStep(f"stages: two are called “{repeated}”; give each its own name.")
    return stages


def _stage(row: Mapping[str, Any], place: str) -> Stage:
    name = row.get("name")
    if not isinstance(name, str) or not name:
        raise BadStep(f"{place}.name: is missing; give the stage a name.")
    voltage = _number(row, "voltage_kv", f"{place}.voltage_kv", above=0.0) or 0.0
    hold = _number(row, "hold_s", f"{place}.hold_s", above=0.0) or 0.0
    usual = _TOLERANCE_SHORT_PCT if hold <= _SHORT_HOLD_S else _TOLERANCE_LONG_PCT
    tolerance = _number(row, "tolerance_pct", f"{place}.tolerance_pct", above=0.0, is_optional=True) or usual
    if tolerance >= 100:
        raise BadStep(f"{place}.tolerance_pct: {tolerance:g} must be below 100.")
    return Stage(name, voltage, hold, tolerance)


def _criteria(content: Any, kind: str, stages: tuple[Stage, ...]) -> tuple[Criterion, ...]:
    names = {stage.name for stage in stages}
    return tuple(
        _criterion(row, f"criteria[{place}]", kind, names) for place, row in enumerate(_rows(content, "criteria"))
    )


def _limits(row: Mapping[str, Any], place: str) -> tuple[float | None, float | None]:
    minimum = _number(row, "min", f"{place}.min", is_optional=True)
    maximum = _number(row, "max", f"{place}.max", is_optional=True)
    nominal = _number(row, "nominal", f"{place}.nominal", is_optional=True)
    if nominal is not None:
        half = abs(nominal) * (_number(row, "tolerance_pct", f"{place}.tolerance_pct", above=0.0) or 0.0) / 100
        minimum, maximum = nominal - half, nominal + half
    if minimum is None and maximum is None:
        raise BadStep(f"{place}: has no limit; nothing is judged without one. State min, max, or nominal.")
    if minimum is not None and maximum is not None and minimum > maximum:
        raise BadStep(f"{place}: min {minimum:g} lies above max {maximum:g}; exchange them.")
    return minimum, maximum


def _criterion(row: Mapping[str, Any], place: str, kind: str, stage_names: set[str]) -> Criterion:
    quantity = row.get("quantity")
    if quantity not in QUANTITIES_BY_KIND[kind]:
        known = ", ".join(QUANTITIES_BY_KIND[kind])
        raise BadStep(f"{place}.quantity: “{quantity}” is none of {kind}; use one of {known}.")
    stage = row.get("stage")
    if stage is not None and stage not in stage_names:
        raise BadStep(f"{place}.stage: “{stage}” is not among the stages; use one of {', '.join(sorted(stage_names))}.")
    judges = row.get("judges", QUANTITIES[str(quantity)].judges)
    if judges not in ("unit", "test"):
        raise BadStep(f"{place}.judges: “{judges}” must be unit or test.")
    decision = row.get("decision") or "simple_acceptance"
    if decision not in DECISION_RULES:
        raise BadStep(f"{place}.decision: “{decision}” is not a decision rule; use one of {', '.join(DECISION_RULES)}.")
    guard = _number(row, "guard_factor", f"{place}.guard_factor", is_optional=True)
    if DECISION_RULES[decision].guard_factor is None and guard is None:
        raise BadStep(f"{place}.guard_factor: the rule {decision} needs r of w = r·U; state it.")
    if guard is not None and decision not in ("guard_band", "customer_defined"):
        raise BadStep(f"{place}.guard_factor: the rule {decision} has its own; remove it or use customer_defined.")
    minimum, maximum = _limits(row, place)
    window = _number(row, "window_s", f"{place}.window_s", above=0.0, is_optional=True)
    return Criterion(str(quantity), stage, minimum, maximum, decision, guard, judges, window)
