"""One step in the making: evaluates the formulas of a procedure and writes down the basis of every figure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from schedules.rules.arrangements import arrangements_for
from schedules.rules.conditions import NOT_STATED, applies, refuse_undecided
from schedules.rules.errors import BadRatings, FormulaError, RatingsMissing
from schedules.rules.formulas import Formula
from schedules.rules.levels import FoundLevel
from schedules.rules.place import Altitude, air_of
from schedules.rules.plans import (
    Basis,
    Choice,
    Criterion,
    PlannedStep,
    Procedure,
    Retest,
    Stage,
    StepAltitude,
)
from schedules.rules.rounding import rounded_up, set_point
from schedules.rules.rulepack import CriterionRule, ProcedureRule, Reason, RetestRule, RulePack, StageRule, ValueRule
from schedules.rules.units import unit_of
from schedules.rules.vocabulary import FIELDS_BY_NAME, LEVELS
from schedules.rules.workings import WORKED_OUT, branch_ratings

_UNROUNDED_DIGITS = 9
_ALGEBRA = Reason("algebra of the circuit", "common practice")
_AGREED_LEVELS = {
    "raised": ("applied", "The order agrees levels that are raised for the altitude of the site."),
    "as_rated": ("stated", "The order agrees the rated levels whatever the altitude of the site."),
}
_WARMED = ("winding_resistance", "temperature_rise")


@dataclass(frozen=True, slots=True)
class Branch:
    """One branch of a bank: name, ratings over those of the unit, place from 1; without a name it is the whole unit."""

    name: str
    ratings: Mapping[str, Any]
    number: int = 1


def branches_of(ratings: Mapping[str, Any]) -> tuple[Branch, ...]:
    """Return the branches of a unit, at least one.

    Parameters
    ----------
    ratings : Mapping[str, Any]
        Read ratings; ``branches`` where the unit has several.

    Returns
    -------
    tuple[Branch, ...]
        Each with the unit's ratings, its own over them; one without a name where no branches are stated.

    Examples
    --------
    >>> [one.name for one in branches_of({"branches": ({"tuned_order": 4.7}, {"tuned_order": 6.8})})]
    ['branch_1', 'branch_2']
    """
    stated = ratings.get("branches", ())
    if not stated:
        return (Branch("", ratings),)
    return tuple(
        Branch(f"branch_{place}", branch_ratings(ratings, own), place) for place, own in enumerate(stated, start=1)
    )


@dataclass
class StepMaker:
    """Makes one step from a procedure, the ratings, what the order stated, and the row of levels.

    Attributes
    ----------
    ratings, stated : Mapping[str, Any]
        Completed ratings, and what was stated.
    level : FoundLevel
        The row of insulation levels.
    pack, rule : RulePack, ProcedureRule
        The procedure and the pack that it stands in.
    site : Altitude or None
        What the altitude of the site makes of the levels; None where none is stated or no reference height is known.
    branches : tuple[Branch, ...]
        Whose criteria the step holds; one.
    basis : dict[str, Basis]
        What was written down so far, by its place in the procedure.
    """

    ratings: Mapping[str, Any]
    stated: Mapping[str, Any]
    level: FoundLevel
    pack: RulePack
    rule: ProcedureRule
    site: Altitude | None
    branches: tuple[Branch, ...]
    basis: dict[str, Basis] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.values: dict[str, ValueRule] = {
            value.name: value for value in reversed(self.pack.values) if applies(value, self.ratings)
        }
        self.altitude = self._altitude()
        self._enter(self.branches[0])

    def _enter(self, branch: Branch) -> None:
        self.branch = branch
        numbers = {key: value for key, value in branch.ratings.items() if isinstance(value, int | float)}
        self.numbers: dict[str, float] = dict(self.level.row.columns) | numbers

    def step(self) -> PlannedStep:
        """Return the planned step."""
        self._refuse_missing()
        self._enter(self.branches[0])
        stages = tuple(self._stage(rule) for rule in self.rule.stages)
        criteria = self._criteria()
        for stage, stage_rule in zip(stages, self.rule.stages, strict=True):
            criteria += self._always_asked(stage, stage_rule.reason)
        return PlannedStep(
            kind=self.rule.kind,
            title=self._title(),
            document=self.pack.document,
            test_class=self.rule.test_class,
            point=self._point(),
            because=self.rule.because,
            procedure=self._procedure(stages, tuple(criteria)),
            arrangements=arrangements_for(self.rule.arrangement, self.ratings["phases"]),
            basis=tuple(self.basis.values()),
            retest=tuple(self._retest(rule) for rule in self.rule.retest),
            must_be_equal=(
                *self.rule.equal,
                *(("altitude_m", "altitude_levels") if self.rule.equal and self._raises else ()),
            ),
            choice=self._choice(),
            pattern=self.rule.arrangement,
            altitude=self.altitude,
        )

    def _refuse_missing(self) -> None:
        """Ask for all that the procedure needs and nobody stated, at once."""
        missing = []
        for branch in self.branches:
            self._enter(branch)
            for name in self.rule.needs:
                try:
                    self._number(name)
                except RatingsMissing as fault:
                    missing.append(fault)
        if missing:
            raise RatingsMissing.together(missing)

    def _altitude(self) -> StepAltitude | None:
        """Return what the altitude of the site does here: as the order agrees, else as the pack says."""
        rule, site = self.rule.altitude, self.site
        if rule is None or site is None or rule.use == "none":
            return None
        agreed = _AGREED_LEVELS.get(self.ratings.get("altitude_levels", ""))
        use, words, clause, confidence = (
            (*agreed, "as agreed in the order", "common practice")
            if agreed is not None
            else (rule.use, rule.words, rule.reason.clause, rule.reason.confidence)
        )
        return StepAltitude(use, site.factor, site.reference, site.formula_document, words, clause, confidence)

    @property
    def _raises(self) -> bool:
        return self.altitude is not None and self.altitude.use == "applied" and self.altitude.factor > 1

    def _procedure(self, stages: tuple[Stage, ...], criteria: tuple[Criterion, ...]) -> Procedure:
        reason = self.rule.reason
        frequency = self._evaluate("frequency_hz", self.rule.frequency_hz, "frequency_hz", reason) or None
        optional: dict[str, Any] = {}
        for name, formula in (
            ("threshold_pc", self.rule.threshold_pc),
            ("reference_temperature_c", self.rule.reference_temperature_c),
        ):
            optional[name] = None if formula is None else self._evaluate(name, formula, name, reason)
        if self.rule.kind in _WARMED and "temperature_constant_c" in self.values:
            optional["temperature_constant_c"] = self._number("temperature_constant_c")
        return Procedure(
            name=self.rule.name,
            stages=stages,
            criteria=criteria,
            setup_checks=tuple(self._criterion(rule, "setup_checks") for rule in self.rule.setup_checks),
            report=self.rule.report,
            frequency_hz=frequency,
            acceptance=self.rule.acceptance,
            air=air_of(self.rule.kind, self.rule.arrangement, frequency, self.numbers.get("discharge_path_m")),
            **optional,
        )

    def _title(self) -> str:
        if not self.branch.name or self.rule.branches != "each":
            return self.rule.title
        order = self.branch.ratings.get("tuned_order")
        tuned = f", order {order:g}" if order is not None else ""
        return f"{self.rule.title} ({self.branch.name.replace('_', ' ')}{tuned})"

    def _criteria(self) -> list[Criterion]:
        if self.rule.branches != "together":
            return [self._criterion(rule, "criteria") for rule in self.rule.criteria]
        found = []
        for branch in self.branches:
            self._enter(branch)
            found += [self._criterion(rule, "criteria", branch) for rule in self.rule.criteria]
        self._enter(self.branches[0])
        return found

    def _point(self) -> str | None:
        if self.rule.kind in self.ratings.get("hold_points", ()):
            return "hold"
        return "witness" if self.rule.kind in self.ratings.get("witness_points", ()) else None

    def _choice(self) -> Choice | None:
        """Return between which procedures of the document a rating chose; None where there was nothing to choose."""
        rated = [one.rating for one in self.rule.when if FIELDS_BY_NAME[one.rating].form == "choice"]
        others = [
            other
            for other in self.pack.procedures
            if (other.kind, other.order, other.branches) == (self.rule.kind, self.rule.order, self.rule.branches)
            and [one.rating for one in other.when] == [one.rating for one in self.rule.when]
            and not applies(other, self.ratings)
            and all(one.holds(self.ratings) for one in other.when if FIELDS_BY_NAME[one.rating].form != "choice")
        ]
        if not rated or not others:
            return None
        chosen = self.ratings.get(rated[0], NOT_STATED)
        titles = tuple(f"{other.title} ({_words(other, rated[0])})" for other in others)
        return Choice(rated[0], chosen or _words(self.rule, rated[0]), rated[0] in self.stated, titles)

    def _retest(self, rule: RetestRule) -> Retest:
        reason = rule.reason
        return Retest(rule.cause, rule.level_pct, rule.words, self.pack.document, reason.clause, reason.confidence)

    def _stage(self, rule: StageRule) -> Stage:
        place = f"stages.{rule.name}"
        exact = self._reduced(place, self._evaluate(f"{place}.voltage_kv", rule.voltage_kv, "voltage_kv", rule.reason))
        document_kv, exact = exact, self._raised(place, exact)
        level = rounded_up(exact, self.pack.step_kv)
        hold = (
            self._evaluate(f"{place}.hold_s", rule.hold_s, "hold_s", rule.reason) if rule.hold_s is not None else None
        )
        self._note(f"{place}.tolerance_pct", rule.reason, "as the row states", {}, rule.tolerance_pct)
        point = set_point(level, self.pack.floor_step_kv, rule.tolerance_pct)
        inputs = {"exact_kv": round(exact, 6), "step_kv": self.pack.step_kv, "floor_step_kv": self.pack.floor_step_kv}
        formula = "exact_kv rounded up to step_kv, then set at the next floor_step_kv"
        self._note(f"{place}.set_point_kv", self.pack.rounding, formula, inputs, point)
        is_applied = self.altitude is not None and self.altitude.use == "applied"
        return Stage(
            name=rule.name,
            voltage_kv=level,
            tolerance_pct=rule.tolerance_pct,
            exact_kv=round(exact, 6),
            set_point_kv=point,
            hold_s=hold,
            polarity=rule.polarity,
            wave=rule.wave,
            level_kv=round(document_kv, 6) if is_applied else None,
            altitude_factor=self.altitude.factor if is_applied and self.altitude is not None else None,
        )

    def _raised(self, place: str, level_kv: float) -> float:
        """Return the level at the reference atmosphere that holds at the site, where the altitude is applied."""
        found, site = self.altitude, self.site
        if found is None or site is None or found.use != "applied":
            return level_kv
        source = (found.document, "", found.clause)
        inputs = {"altitude_m": site.altitude_m}
        factor = Basis("values.altitude_factor", *source, site.formula, inputs, found.factor, "", found.confidence)
        self.basis[factor.of] = factor
        raised = round(level_kv * found.factor, _UNROUNDED_DIGITS)
        full = self.basis[f"{place}.voltage_kv"]
        self.basis[f"{place}.voltage_kv"] = replace(
            full,
            formula=f"({full.formula}) * altitude_factor",
            inputs={**full.inputs, "altitude_factor": found.factor},
            result=round(raised, 6),
        )
        return raised

    def _reduced(self, place: str, full_kv: float) -> float:
        """Return the level of a test that is made again, where the document reduces it; else the full one."""
        rule = next((one for one in self.rule.retest if one.cause == self.ratings.get("occasion")), None)
        if rule is None or rule.level_pct == 100:
            return full_kv
        level = round(full_kv * rule.level_pct / 100, _UNROUNDED_DIGITS)
        full = self.basis[f"{place}.voltage_kv"]
        formula = f"({full.formula}) * level_pct / 100"
        self._note(
            f"{place}.voltage_kv", rule.reason, formula, {**full.inputs, "level_pct": rule.level_pct}, round(level, 6)
        )
        return level

    def _always_asked(self, stage: Stage, reason: Reason) -> list[Criterion]:
        """Return what every held stage asks of the test: the level inside its tolerance, held long enough."""
        if stage.hold_s is None or self.rule.kind == "insulation_resistance":
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

    def _criterion(self, rule: CriterionRule, part: str, branch: Branch | None = None) -> Criterion:
        of_branch = branch.name if branch is not None else ""
        place = ".".join(word for word in (part, rule.quantity, rule.stage, of_branch) if word)
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
            has_four_states=self.ratings.get("statements") == "four_states" and rule.judges == "unit",
            branch=branch.number if branch is not None and branch.name else None,
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
        if name in WORKED_OUT:
            return self._worked_out(name)
        if name not in self.numbers:
            conditional = [value for value in self.pack.values if value.name == name]
            refuse_undecided(conditional, self.ratings, self.rule.title)
            label = FIELDS_BY_NAME[name].label.lower() if name in FIELDS_BY_NAME else name
            unit = unit_of(name)
            asked = f"(asked for by {self.rule.title}{self._of_branch()})"
            raise RatingsMissing({name: f"give the {label}{' in ' + unit if unit else ''} {asked}"})
        if any(value.name == name for value in self.pack.values):
            self._agreed(name)
        elif name in ("power_frequency_kv", "lightning_impulse_kv") or name in self.level.row.columns:
            self._looked_up(name)
        return self.numbers[name]

    def _of_branch(self) -> str:
        return f", {self.branch.name.replace('_', ' ')}" if self.branch.name else ""

    def _worked_out(self, name: str) -> float:
        """Return a figure that the packs' formulas cannot state, with its own formula as basis."""
        entry = WORKED_OUT[name]
        inputs = {one: self._number(one) for one in entry.inputs}
        try:
            result = round(entry.compute(*inputs.values()), _UNROUNDED_DIGITS)
        except ValueError as fault:
            raise BadRatings(name, str(fault), "correct the ratings that it uses") from None
        shown = {one: round(value, 6) for one, value in inputs.items()}
        self._note(f"values.{name}", _ALGEBRA, entry.formula, shown, round(result, 6), unit_of(name))
        return result

    def _agreed(self, name: str) -> None:
        place, number = f"values.{name}", self.numbers[name]
        if name in LEVELS and name in self.values:
            formula = self.values[name].formula
            least = formula.value({one: self._number(one) for one in formula.names})
            if number < least:
                problem = f"is {number:g} kV, below the {least:g} kV of {self.pack.document}"
                raise BadRatings(name, problem, "correct it, or leave it out to take the document's")
        clause, inputs = "as agreed in the order", {name: number}
        self.basis.setdefault(
            place, Basis(place, "Order", "", clause, name, inputs, number, unit_of(name), "common practice")
        )

    def _looked_up(self, name: str) -> None:
        place, row, pack = f"ratings.{name}", self.level.row, self.level.pack
        inputs = {"highest_voltage_kv": row.highest_voltage_kv}
        if self.level.lightning_impulse_kv is not None:
            inputs["lightning_impulse_kv"] = self.level.lightning_impulse_kv
        formula = f"row of {self.level.table.title}"
        number, unit, why = self.numbers[name], unit_of(name), row.reason
        source = (pack.document, pack.edition, why.clause)
        self.basis.setdefault(
            place, Basis(place, *source, formula, inputs, number, unit, why.confidence, pack.name, why.row)
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
        last = place.removesuffix(".min").removesuffix(".max").split(".")[-1]
        shown = unit_of(last) if unit is None else unit
        source = (self.pack.document, self.pack.edition, reason.clause)
        row = (self.pack.name, reason.row) if reason.row else ("", "")
        self.basis[place] = Basis(place, *source, formula, inputs, result, shown, reason.confidence, *row)


def _words(rule: ProcedureRule, rating: str) -> str:
    allowed = next(one.allowed for one in rule.when if one.rating == rating)
    return " or ".join(str(one).replace("_", " ") for one in allowed if one != NOT_STATED)
