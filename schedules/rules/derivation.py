"""Derives the plan of a unit from its ratings: levels, steps in their order, and the basis of every figure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from schedules.rules.arrangements import arrangements_for
from schedules.rules.conditions import applies, refuse_undecided
from schedules.rules.consistency import doubts, refuse_contradictions
from schedules.rules.errors import BadRatings, FormulaError
from schedules.rules.formulas import Formula
from schedules.rules.levels import FoundLevel, find_level
from schedules.rules.packs import load_packs
from schedules.rules.plans import Basis, Criterion, OtherTest, Plan, PlannedStep, Procedure, Stage, UsedPack
from schedules.rules.ratings import read_ratings
from schedules.rules.rounding import rounded_up, set_point
from schedules.rules.rulepack import CriterionRule, ProcedureRule, Reason, RulePack, StageRule, ValueRule
from schedules.rules.selection import choose, choose_procedures
from schedules.rules.units import unit_of
from schedules.rules.vocabulary import EQUIPMENT_KINDS, FIELDS_BY_NAME, USUAL_PHASES

_UNROUNDED_DIGITS = 9
_REFERENCE_ALTITUDE_M = 1000.0


def derive_plan(ratings: object, packs: Sequence[RulePack] | None = None) -> Plan:
    """Return the plan that these ratings call for.

    Parameters
    ----------
    ratings : Mapping[str, Any]
        What is on the nameplate and in the order: ``equipment`` and one voltage at least; see ``RATING_FIELDS``.
    packs : Sequence[RulePack] or None
        The packs to draw on; None for the shipped ones.

    Returns
    -------
    Plan
        Ratings completed by look-up, the steps in their order, and notes and warnings for the reader. The same ratings
        and packs always give an equal plan.

    Raises
    ------
    BadRatings
        The ratings are wrong, contradict a table, or lack something that is asked for by name.
    PackError
        A shipped pack cannot be used.

    References
    ----------
    The packs' own; each step carries document, edition, clause and confidence of every figure.

    Examples
    --------
    >>> plan = derive_plan({"equipment": "series_reactor", "highest_voltage_kv": 15.5, "lightning_impulse_kv": 110})
    >>> [(stage.exact_kv, stage.voltage_kv, stage.set_point_kv) for stage in plan.steps[1].procedure.stages]
    [(25.0, 25.0, 25.0), (10.738715, 10.74, 10.75)]
    """
    return _derive(read_ratings(ratings), load_packs() if packs is None else packs)


def _derive(stated: dict[str, Any], packs: Sequence[RulePack]) -> Plan:
    selection = choose(stated, packs)
    level = find_level(stated, selection.level_packs)
    ratings, notes = _completed(stated, level)
    refuse_contradictions(ratings)
    classes = ratings["tests"]
    procedures, filled_in = choose_procedures(selection, ratings)
    ordered = sorted(procedures, key=lambda pair: (pair[1].order, pair[1].name))
    planned = [(pack, rule) for pack, rule in ordered if rule.test_class in classes]
    steps = tuple(_Deriving(ratings, stated, level, pack, rule).step() for pack, rule in planned)
    if not steps:
        raise BadRatings(
            "tests", f"none of {', '.join(classes)} is in the packs for this unit", "add another class of test"
        )
    used = list({pack.sha256: pack for pack in (level.pack, *(pack for pack, _ in planned))}.values())
    return Plan(
        ratings=ratings,
        steps=steps,
        packs=tuple(UsedPack(pack.name, pack.document, pack.edition, pack.sha256) for pack in used),
        other_tests=tuple(
            OtherTest(rule.kind, rule.title, rule.test_class, pack.document)
            for pack, rule in ordered
            if rule.test_class not in classes
        ),
        notes=(*filled_in, *level.notes, *notes),
        warnings=(*level.warnings, *doubts(ratings), *_warnings(ratings, steps, used)),
    )


def _completed(stated: Mapping[str, Any], level: FoundLevel) -> tuple[dict[str, Any], list[str]]:
    """Return the ratings with what was looked up or is usual, and a note for each addition."""
    ratings = dict(stated)
    notes = []
    row, source = level.row, f"{level.pack.document}, {level.table.title}"
    found: dict[str, tuple[Any, str]] = {
        "highest_voltage_kv": (row.highest_voltage_kv, f"row of {source}"),
        "power_frequency_kv": (row.power_frequency_kv, f"row of {source}"),
        "frequency_hz": (level.table.frequency_hz, "usual for this table"),
        "phases": (USUAL_PHASES[ratings["equipment"]], f"usual for {EQUIPMENT_KINDS[ratings['equipment']].lower()}"),
        "tests": (("routine",), "only routine tests unless the order asks for more"),
        "decision_rule": ("simple_acceptance", "unless the order agrees another"),
    }
    if level.lightning_impulse_kv is not None:
        found["lightning_impulse_kv"] = (level.lightning_impulse_kv, f"row of {source}")
    for key, (value, why) in found.items():
        if key not in ratings:
            ratings[key] = value
            shown = ", ".join(value) if isinstance(value, tuple) else value if isinstance(value, str) else f"{value:g}"
            notes.append(f"{key} was not stated: {shown} {FIELDS_BY_NAME[key].unit}".rstrip() + f" ({why}).")
    if ratings["power_frequency_kv"] > row.power_frequency_kv:
        notes.append(f"The order asks {ratings['power_frequency_kv']:g} kV; the row has {row.power_frequency_kv:g} kV.")
    return ratings, notes


def _warnings(ratings: Mapping[str, Any], steps: Sequence[PlannedStep], used: Sequence[RulePack]) -> list[str]:
    found = [
        f"{pack.document} {pack.edition}: nobody has confirmed these rows against a licensed copy yet."
        for pack in used
        if not pack.confirmed_by
    ]
    if ratings.get("altitude_m", 0.0) > _REFERENCE_ALTITUDE_M:
        found.append(f"The site lies at {ratings['altitude_m']:g} m, above the 1000 m that the levels are meant for.")
    for step in steps:
        stages = {stage.name: stage.exact_kv for stage in step.procedure.stages}
        if stages.get("measurement", 0.0) > stages.get("prestress", float("inf")):
            found.append(f"{step.title}: the measurement lies above the pre-stress; check the agreed test voltage.")
    return found


@dataclass
class _Deriving:
    """One step in the making: evaluates the formulas of a procedure and writes down the basis of each."""

    ratings: Mapping[str, Any]
    stated: Mapping[str, Any]
    level: FoundLevel
    pack: RulePack
    rule: ProcedureRule
    basis: dict[str, Basis] = field(default_factory=dict)

    def __post_init__(self) -> None:
        numbers = {key: value for key, value in self.ratings.items() if isinstance(value, int | float)}
        self.numbers: dict[str, float] = dict(self.level.row.columns) | numbers
        self.values: dict[str, ValueRule] = {
            value.name: value for value in reversed(self.pack.values) if applies(value, self.ratings)
        }

    def step(self) -> PlannedStep:
        for name in self.rule.needs:
            self._number(name)
        stages = tuple(self._stage(rule) for rule in self.rule.stages)
        criteria = [self._criterion(rule, "criteria") for rule in self.rule.criteria]
        for stage, stage_rule in zip(stages, self.rule.stages, strict=True):
            criteria += self._always_asked(stage, stage_rule.reason)
        checks = tuple(self._criterion(rule, "setup_checks") for rule in self.rule.setup_checks)
        frequency = self._evaluate("frequency_hz", self.rule.frequency_hz, "frequency_hz", self.rule.reason)
        threshold = None
        if self.rule.threshold_pc is not None:
            threshold = self._evaluate("threshold_pc", self.rule.threshold_pc, "threshold_pc", self.rule.reason)
        return PlannedStep(
            kind=self.rule.kind,
            title=self.rule.title,
            test_class=self.rule.test_class,
            point=self._point(),
            because=self.rule.because,
            procedure=Procedure(
                name=self.rule.name,
                stages=stages,
                criteria=tuple(criteria),
                setup_checks=checks,
                report=self.rule.report,
                threshold_pc=threshold,
                frequency_hz=frequency or None,
            ),
            arrangements=arrangements_for(self.rule.arrangement, self.ratings["phases"]),
            basis=tuple(self.basis.values()),
        )

    def _point(self) -> str | None:
        if self.rule.kind in self.ratings.get("hold_points", ()):
            return "hold"
        return "witness" if self.rule.kind in self.ratings.get("witness_points", ()) else None

    def _stage(self, rule: StageRule) -> Stage:
        place = f"stages.{rule.name}"
        exact = self._evaluate(f"{place}.voltage_kv", rule.voltage_kv, "voltage_kv", rule.reason)
        level = rounded_up(exact, self.pack.step_kv)
        hold = (
            self._evaluate(f"{place}.hold_s", rule.hold_s, "hold_s", rule.reason) if rule.hold_s is not None else None
        )
        self._note(f"{place}.tolerance_pct", rule.reason, "as the row states", {}, rule.tolerance_pct)
        point = set_point(level, self.pack.floor_step_kv, rule.tolerance_pct)
        inputs = {"exact_kv": round(exact, 6), "step_kv": self.pack.step_kv, "floor_step_kv": self.pack.floor_step_kv}
        formula = "exact_kv rounded up to step_kv, then set at the next floor_step_kv"
        self._note(f"{place}.set_point_kv", self.pack.rounding, formula, inputs, point)
        return Stage(rule.name, level, rule.tolerance_pct, round(exact, 6), point, hold, rule.polarity)

    def _always_asked(self, stage: Stage, reason: Reason) -> list[Criterion]:
        """Return what every held stage asks of the test: the level inside its tolerance, held long enough."""
        if stage.hold_s is None:
            return []
        place = f"criteria.held_voltage_kv.{stage.name}"
        inputs = {"voltage_kv": stage.voltage_kv, "tolerance_pct": stage.tolerance_pct}
        margin = stage.voltage_kv * stage.tolerance_pct / 100
        bounds = (round(stage.voltage_kv - margin, 6), round(stage.voltage_kv + margin, 6))
        self._note(f"{place}.min", reason, "voltage_kv * (1 - tolerance_pct / 100)", inputs, bounds[0], "kV")
        self._note(f"{place}.max", reason, "voltage_kv * (1 + tolerance_pct / 100)", inputs, bounds[1], "kV")
        self._note(f"criteria.held_s.{stage.name}.min", reason, "hold_s", {"hold_s": stage.hold_s}, stage.hold_s, "s")
        decision = "simple_acceptance"
        return [
            Criterion("held_voltage_kv", "test", decision, stage.name, minimum=bounds[0], maximum=bounds[1]),
            Criterion("held_s", "test", decision, stage.name, minimum=stage.hold_s),
        ]

    def _criterion(self, rule: CriterionRule, part: str) -> Criterion:
        place = f"{part}.{rule.quantity}" + (f".{rule.stage}" if rule.stage else "")
        bounds = {
            name: self._evaluate(f"{place}.{name}", formula, rule.quantity, rule.reason)
            for name, formula in rule.bounds.items()
        }
        return Criterion(
            quantity=rule.quantity,
            judges=rule.judges,
            decision=self.ratings["decision_rule"] if rule.judges == "unit" else "simple_acceptance",
            stage=rule.stage,
            minimum=bounds.get("min"),
            maximum=bounds.get("max"),
            nominal=bounds.get("nominal"),
            tolerance_pct=bounds.get("tolerance_pct"),
            guard_factor=self.ratings.get("guard_factor") if rule.judges == "unit" else None,
        )

    def _evaluate(self, place: str, formula: Formula, target: str, reason: Reason) -> float:
        """Return a formula's value with its basis; a bare name of a pack's value shows that value's formula."""
        alone = self.values.get(formula.text) if formula.text not in self.stated else None
        if alone is not None:
            formula, reason = alone.formula, alone.reason
        inputs = {name: self._number(name) for name in formula.names}
        try:
            result = formula.value(inputs)
        except FormulaError as fault:
            raise BadRatings(place, str(fault), "correct the ratings that it uses") from None
        result = round(result, _UNROUNDED_DIGITS)
        shown = {name: round(value, 6) for name, value in inputs.items()}
        self._note(place, reason, formula.text, shown, round(result, 6), unit_of(target))
        return result

    def _number(self, name: str) -> float:
        """Return a rating, a level or a value of the pack, with the basis of what was looked up or agreed."""
        if name in self.values and name not in self.stated:
            value = self.values[name]
            return self._evaluate(f"values.{name}", value.formula, name, value.reason)
        if name not in self.numbers:
            conditional = [value for value in self.pack.values if value.name == name]
            refuse_undecided(conditional, self.ratings, self.rule.title)
            label = FIELDS_BY_NAME[name].label.lower() if name in FIELDS_BY_NAME else name
            unit = unit_of(name)
            raise BadRatings(
                name, "is missing", f"give the {label}{' in ' + unit if unit else ''} (asked for by {self.rule.title})"
            )
        if name in self.values:
            self._agreed(name)
        elif name in ("power_frequency_kv", "lightning_impulse_kv") or name in self.level.row.columns:
            self._looked_up(name)
        return self.numbers[name]

    def _agreed(self, name: str) -> None:
        place, number = f"values.{name}", self.numbers[name]
        self.basis.setdefault(
            place,
            Basis(
                place,
                "Order",
                "",
                "as agreed in the order",
                name,
                {name: number},
                number,
                unit_of(name),
                "common practice",
            ),
        )

    def _looked_up(self, name: str) -> None:
        place, row, pack = f"ratings.{name}", self.level.row, self.level.pack
        inputs = {"highest_voltage_kv": row.highest_voltage_kv}
        if self.level.lightning_impulse_kv is not None:
            inputs["lightning_impulse_kv"] = self.level.lightning_impulse_kv
        formula = f"row of {self.level.table.title}"
        number, unit, reason = self.numbers[name], unit_of(name), row.reason
        self.basis.setdefault(
            place,
            Basis(place, pack.document, pack.edition, reason.clause, formula, inputs, number, unit, reason.confidence),
        )

    def _note(
        self,
        place: str,
        reason: Reason,
        formula: str,
        inputs: Mapping[str, float],
        result: float,
        unit: str | None = None,
    ) -> None:
        shown = unit_of(place.removesuffix(".min").removesuffix(".max").split(".")[-1]) if unit is None else unit
        self.basis[place] = Basis(
            place,
            self.pack.document,
            self.pack.edition,
            reason.clause,
            formula,
            inputs,
            result,
            shown,
            reason.confidence,
        )
