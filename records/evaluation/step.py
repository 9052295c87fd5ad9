"""One step of a plan as the evaluation needs it: stages and criteria, parsed strictly."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from equipment.metrology.conformity import DECISION_RULES, STATEMENTS
from records.evaluation.keys import BadStep as BadStep  # what a caller of `parse_step` must be ready for
from records.evaluation.keys import number_at, rows_at, values_of
from records.evaluation.kinds import KINDS, Key, Kind, StageNeed
from records.evaluation.quantities import QUANTITIES, Judges

_SLACK = 1e-9  # relative: converting V to kV must not push a set point out of its own band
_TOLERANCE = Key("tolerance_pct", above=0.0, below=100.0)


@dataclass(frozen=True)
class Stage:
    """One energised stage.

    Attributes
    ----------
    name : str
        As the plan calls it.
    voltage_kv : float
        Set point [kV]: r.m.s., or crest where the stage is an impulse; 0 where the stage states none.
    hold_s : float
        Time that it must be held [s]; 0 where the kind holds nothing.
    tolerance_pct : float
        Half width of the band around the set point [%].
    stated : mapping
        What the stage states besides, by key, as `kinds` names it: ``polarity``, …
    """

    name: str
    voltage_kv: float
    hold_s: float
    tolerance_pct: float
    stated: Mapping[str, Any] = field(default_factory=dict)

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
        level = f"{self.voltage_kv:g} kV ± {self.tolerance_pct:g} %"
        return f"{level} for {self.hold_s:g} s" if self.hold_s else level


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
    has_four_states : bool
        Whether a statement of four states was agreed, and is shown beside the verdict.
    judges : str
        ``unit`` or ``test``.
    window_s : float or None
        Length of the window that apparent charge is read in [s].
    is_implied : bool
        Whether the standards always ask it, though the procedure does not list it.
    nominal : float or None
        The value that the plan names [unit of the quantity]; where a quantity has several values, as a filter has
        branches, it tells which is meant.
    stated : mapping
        What the criterion states besides, by key, as `kinds` names it.
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
    nominal: float | None = None
    has_four_states: bool = False
    stated: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Step:
    """One test of a plan: kind, stages in order, criteria, and what the procedure states besides, by key."""

    kind: str
    title: str
    stages: tuple[Stage, ...]
    criteria: tuple[Criterion, ...]
    stated: Mapping[str, Any] = field(default_factory=dict)

    @property
    def threshold_pc(self) -> float | None:
        """Charge above which discharges count [pC], or None."""
        return self.number("threshold_pc")

    @property
    def window_s(self) -> float | None:
        """Length of the window that apparent charge is read in [s], or None."""
        return self.number("window_s")

    def number(self, key: str) -> float | None:
        """Return a number that the procedure states [unit in the key's name], or None."""
        value = self.stated.get(key)
        return None if value is None else float(value)

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
    kind = KINDS.get(str(content.get("kind")))
    if kind is None:
        raise BadStep(f"kind: “{content.get('kind')}” cannot be evaluated; use one of {', '.join(KINDS)}.")
    procedure = content.get("procedure", {})
    if not isinstance(procedure, Mapping):
        raise BadStep("procedure: must be an object with stages and criteria.")
    merged = {**content, **procedure}
    stages = _stages(merged.get("stages"), kind)
    criteria = _criteria(merged.get("criteria", []), kind, stages)
    if kind.must_judge_unit and not any(criterion.judges == "unit" for criterion in criteria):
        raise BadStep("criteria: none judges the unit; name at least one, as apparent_charge_pc with its max.")
    return Step(kind.name, str(content.get("title", kind.name)), stages, criteria, values_of(merged, kind.keys))


def _stages(content: Any, kind: Kind) -> tuple[Stage, ...]:
    need = kind.stages
    if not content:
        if need is None or not need.is_required:
            return ()
        asked = ", ".join(key.name for key in need.keys if key.is_required)
        raise BadStep(f"stages: at least one is needed, with name and {asked}.")
    if need is None:
        raise BadStep(f"stages: a step of {kind.name} has none; remove them.")
    stages = tuple(_stage(row, f"stages[{place}]", need) for place, row in enumerate(rows_at(content, "stages")))
    names = [stage.name for stage in stages]
    repeated = next((name for name in names if names.count(name) > 1), None)
    if repeated is not None:
        raise BadStep(f"stages: two are called “{repeated}”; give each its own name.")
    return stages


def _stage(row: Mapping[str, Any], place: str, need: StageNeed) -> Stage:
    name = row.get("name")
    if not isinstance(name, str) or not name:
        raise BadStep(f"{place}.name: is missing; give the stage a name.")
    stated = values_of(row, (*need.keys, _TOLERANCE), place)
    voltage, hold = stated.pop("voltage_kv", 0.0), stated.pop("hold_s", 0.0)
    usual = next(tolerance for longest_s, tolerance in need.tolerances_pct if hold <= longest_s)
    return Stage(name, voltage, hold, stated.pop("tolerance_pct", usual), stated)


def _criteria(content: Any, kind: Kind, stages: tuple[Stage, ...]) -> tuple[Criterion, ...]:
    names = {stage.name for stage in stages}
    return tuple(
        _criterion(row, f"criteria[{place}]", kind, names) for place, row in enumerate(rows_at(content, "criteria"))
    )


def _limits(row: Mapping[str, Any], place: str) -> tuple[float | None, float | None, float | None]:
    """Return min, max and nominal; a nominal without a tolerance needs a limit beside it."""
    minimum = number_at(row, "min", f"{place}.min", is_optional=True)
    maximum = number_at(row, "max", f"{place}.max", is_optional=True)
    nominal = number_at(row, "nominal", f"{place}.nominal", is_optional=True)
    if nominal is not None and (row.get("tolerance_pct") is not None or (minimum is None and maximum is None)):
        half = abs(nominal) * (number_at(row, "tolerance_pct", f"{place}.tolerance_pct", above=0.0) or 0.0) / 100
        minimum, maximum = nominal - half, nominal + half
    if minimum is None and maximum is None:
        raise BadStep(f"{place}: has no limit; nothing is judged without one. State min, max, or nominal.")
    if minimum is not None and maximum is not None and minimum > maximum:
        raise BadStep(f"{place}: min {minimum:g} lies above max {maximum:g}; exchange them.")
    return minimum, maximum, nominal


def _criterion(row: Mapping[str, Any], place: str, kind: Kind, stage_names: set[str]) -> Criterion:
    quantity = row.get("quantity")
    if quantity not in kind.quantities:
        known = ", ".join(kind.quantities)
        raise BadStep(f"{place}.quantity: “{quantity}” is none of {kind.name}; use one of {known}.")
    stage = row.get("stage") or None
    if stage is not None and stage not in stage_names:
        known = f"use one of {', '.join(sorted(stage_names))}" if stage_names else "the step has none; remove it"
        raise BadStep(f"{place}.stage: “{stage}” is not among the stages; {known}.")
    judges = row.get("judges", QUANTITIES[str(quantity)].judges)
    if judges not in ("unit", "test"):
        raise BadStep(f"{place}.judges: “{judges}” must be unit or test.")
    decision, guard = _decision(row, place)
    minimum, maximum, nominal = _limits(row, place)
    stated = values_of(row, kind.criterion_keys, place)
    return Criterion(
        str(quantity),
        stage,
        minimum,
        maximum,
        decision,
        guard,
        judges,
        stated.pop("window_s", None),
        nominal=nominal,
        has_four_states=_has_four_states(row, place),
        stated=stated,
    )


def _has_four_states(row: Mapping[str, Any], place: str) -> bool:
    asked = row.get("statement", STATEMENTS[0])
    if asked not in STATEMENTS:
        raise BadStep(f"{place}.statement: “{asked}” is no kind of statement; use one of {', '.join(STATEMENTS)}.")
    return bool(asked == STATEMENTS[1])


def _decision(row: Mapping[str, Any], place: str) -> tuple[str, float | None]:
    decision = row.get("decision") or "simple_acceptance"
    if decision not in DECISION_RULES:
        raise BadStep(f"{place}.decision: “{decision}” is not a decision rule; use one of {', '.join(DECISION_RULES)}.")
    guard = number_at(row, "guard_factor", f"{place}.guard_factor", is_optional=True)
    if DECISION_RULES[decision].guard_factor is None and guard is None:
        raise BadStep(f"{place}.guard_factor: the rule {decision} needs r of w = r·U; state it.")
    if guard is not None and decision not in ("guard_band", "customer_defined"):
        raise BadStep(f"{place}.guard_factor: the rule {decision} has its own; remove it or use customer_defined.")
    return decision, guard
