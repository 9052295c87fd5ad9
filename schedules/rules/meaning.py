"""Checks what a pack means: names, units, divisions, stages and tables that contradict themselves."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from schedules.rules.conditions import NOT_STATED, Condition, Conditional
from schedules.rules.errors import FormulaError, PackError
from schedules.rules.formulas import Formula, Interval
from schedules.rules.rulepack import CriterionRule, LevelTable, ProcedureRule, RulePack
from schedules.rules.vocabulary import FIELDS_BY_NAME
from schedules.rules.workings import WORKED_OUT

CRITERION_QUANTITIES = (
    "held_voltage_kv",
    "held_s",
    "disruptive_discharges",
    "impulses",
    "inception_voltage_kv",
    "extinction_voltage_kv",
    "time_to_extinction_s",
    "apparent_charge_pc",
    "background_noise_pc",
    "injected_charge_pc",
    "charge_scale_factor",
    "repetition_rate_per_s",
    "average_discharge_current_a",
    "discharge_power_w",
    "quadratic_rate_c2_per_s",
    "test_voltage_kv",
    "front_time_us",
    "time_to_half_value_us",
    "relative_overshoot_pct",
    "voltage_difference_pct",
    "current_difference_pct",
    "resonance_hz",
    "tuned_order",
    "quality_factor",
    "inductance_mh",
    "capacitance_uf",
    "capacitance_change_pct",
    "resistance_ohm",
    "resistance_at_reference_ohm",
    "insulation_resistance_mohm",
    "insulation_resistance_10min_mohm",
    "loss_w",
    "loss_at_reference_w",
    "polarization_index",
    "temperature_rise_k",
    "dissipation_factor",
    "correlation",
)
"""Quantities that a limit may be set on, or that a step may report."""


def check_meaning(pack: RulePack, file: str) -> None:
    """Refuse a pack that reads well but cannot be used.

    Parameters
    ----------
    pack : RulePack
        The pack as read.
    file : str
        Its file, for the message.

    Raises
    ------
    PackError
        A formula with an unknown name, with units that do not fit or that can divide by zero; a criterion of a stage
        that the procedure does not have; an unknown quantity; a comparison with what is no earlier measurement of the
        same thing; a table with equal rows; two parts of one name; nothing in the pack at all.
    """
    if not (pack.tables or pack.procedures or pack.own_figures_for):
        raise PackError(file, "procedures", "are none, and there are no levels", "add a table or a procedure")
    if not pack.from_kv < pack.to_kv:
        raise PackError(file, "applies.to_kv", "is not above from_kv", "give the range of highest voltages in kV")
    if not set(pack.default_for) <= set(pack.equipment):
        raise PackError(
            file, "applies.default_for", "names equipment that the pack does not apply to", "add it to equipment"
        )
    _unique(file, "values", (value.name for value in pack.values), [value.when for value in pack.values])
    _unique(file, "levels", (table.name for table in pack.tables))
    whens = [procedure.when for procedure in pack.procedures]
    _unique(file, "procedures", (procedure.name for procedure in pack.procedures), whens)
    conditional: tuple[tuple[str, Sequence[Conditional]], ...] = (
        ("values", pack.values),
        ("procedures", pack.procedures),
    )
    for part, rules in conditional:
        for index, rule in enumerate(rules):
            for place, condition in enumerate(rule.when):
                _check_condition(condition, f"{part}[{index}].when[{place}]", file)
    for index, table in enumerate(pack.tables):
        _check_table(table, f"levels[{index}]", file)
    domain = _domain(pack, file)
    for index, procedure in enumerate(pack.procedures):
        _check_procedure(procedure, f"procedures[{index}]", file, domain)
    _check_comparisons(pack, file)


def _unique(file: str, key: str, names: Iterable[str], whens: Sequence[tuple[Condition, ...]] = ()) -> None:
    """Refuse a name that stands twice under the same conditions; of several that apply, the first one counts."""
    seen: dict[str, list[tuple[Condition, ...]]] = {}
    for index, name in enumerate(names):
        when = whens[index] if whens else ()
        others = seen.setdefault(name, [])
        if when in others:
            raise PackError(file, f"{key}[{index}].name", f"{name!r} stands twice", "give each its own name")
        others.append(when)


def _check_condition(condition: Condition, key: str, file: str) -> None:
    field = FIELDS_BY_NAME.get(condition.rating)
    if field is None or field.form not in ("choice", "number", "whole"):
        raise PackError(file, f"{key}.rating", f"{condition.rating!r} is no choice and no number", "correct the name")
    if field.form == "choice":
        for index, word in enumerate(condition.allowed):
            if word not in (NOT_STATED, *field.choices):
                known = ", ".join(field.choices)
                raise PackError(file, f"{key}.is[{index}]", f"{word!r} is none of its choices", f"write one of {known}")
        return
    if condition.allowed == (NOT_STATED,):
        return
    numbers = [one for one in condition.allowed if isinstance(one, int | float) and not isinstance(one, bool)]
    if len(numbers) != 2 or len(condition.allowed) != 2 or numbers[0] > numbers[1]:
        raise PackError(file, f"{key}.is", "is not a range", "write the least and the greatest number")


def _check_table(table: LevelTable, place: str, file: str) -> None:
    for index, row in enumerate(table.rows):
        key = f"{place}.rows[{index}]"
        if not table.rows[max(index - 1, 0)].highest_voltage_kv <= row.highest_voltage_kv:
            raise PackError(
                file, f"{key}.highest_voltage_kv", "is below the row before", "put the rows in rising order"
            )
        if row in table.rows[:index]:
            raise PackError(file, key, "stands twice", "leave one of the two out")
        if any(impulse <= row.power_frequency_kv for impulse in row.lightning_impulse_kv):
            raise PackError(
                file, f"{key}.lightning_impulse_kv", "is not above the power-frequency level", "correct the row"
            )


def _domain(pack: RulePack, file: str) -> dict[str, Interval]:
    """Return the range of every name that a formula of the pack may use."""
    fields = FIELDS_BY_NAME.values()
    domain = {field.name: (field.least, field.most) for field in fields if field.form in ("number", "whole")}
    columns = {name for table in pack.tables for row in table.rows for name in row.columns}
    domain |= dict.fromkeys(columns, (1e-3, 1e4))
    domain |= dict.fromkeys(WORKED_OUT, (1e-6, 1e15))
    for index, value in enumerate(pack.values):
        key = f"values[{index}].formula"
        if value.name in columns:
            raise PackError(file, f"values[{index}].name", "is a column of a table too", "give it another name")
        found = _check_formula(value.formula, value.name, key, file, domain)
        if value.name in FIELDS_BY_NAME:
            continue
        least, most = domain.get(value.name, found)
        domain[value.name] = (min(least, found[0]), max(most, found[1]))
    return domain


def _check_formula(formula: Formula, target: str, key: str, file: str, domain: dict[str, Interval]) -> Interval:
    try:
        formula.check_unit(target)
        return formula.range(domain)
    except FormulaError as fault:
        raise PackError(file, key, str(fault), "correct the formula") from None


def _check_procedure(procedure: ProcedureRule, place: str, file: str, domain: dict[str, Interval]) -> None:
    stages = [stage.name for stage in procedure.stages]
    _unique(file, f"{place}.stages", stages)
    _check_formula(procedure.frequency_hz, "frequency_hz", f"{place}.frequency_hz", file, domain)
    for name, formula in (
        ("threshold_pc", procedure.threshold_pc),
        ("reference_temperature_c", procedure.reference_temperature_c),
    ):
        if formula is not None:
            _check_formula(formula, name, f"{place}.{name}", file, domain)
    for index, stage in enumerate(procedure.stages):
        key = f"{place}.stages[{index}]"
        if _check_formula(stage.voltage_kv, "voltage_kv", f"{key}.voltage_kv", file, domain)[1] <= 0:
            raise PackError(file, f"{key}.voltage_kv", "is never above zero", "correct the formula")
        if stage.hold_s is not None and _check_formula(stage.hold_s, "hold_s", f"{key}.hold_s", file, domain)[1] <= 0:
            raise PackError(file, f"{key}.hold_s", "is never above zero", "correct the formula")
    for name, rules in (("criteria", procedure.criteria), ("setup_checks", procedure.setup_checks)):
        for index, rule in enumerate(rules):
            _check_criterion(rule, stages, f"{place}.{name}[{index}]", file, domain)
    for name, words, known in (
        ("needs", procedure.needs, tuple(domain)),
        ("report", procedure.report, CRITERION_QUANTITIES),
        ("equal", procedure.equal, tuple(FIELDS_BY_NAME)),
    ):
        for index, word in enumerate(words):
            if word not in known:
                raise PackError(file, f"{place}.{name}[{index}]", f"{word!r} is not known", "correct the name")


def _check_comparisons(pack: RulePack, file: str) -> None:
    """Refuse a comparison with what is no earlier measurement of the same thing."""
    for index, rule in enumerate(pack.procedures):
        if not rule.compared_with:
            continue
        key = f"procedures[{index}].compared_with"
        named = [one for one in pack.procedures if one.name == rule.compared_with]
        if not named:
            raise PackError(file, key, f"{rule.compared_with!r} is no procedure of this pack", "correct the name")
        alike = (rule.kind, rule.arrangement, rule.branches, rule.test_class)
        if any((one.kind, one.arrangement, one.branches, one.test_class) != alike for one in named):
            mend = "name one of the same kind, class, arrangement and branches"
            raise PackError(file, key, f"{rule.compared_with!r} measures something else", mend)
        if any(one.order >= rule.order for one in named):
            raise PackError(file, key, f"{rule.compared_with!r} is not made earlier", "give it a lower order")


def _check_criterion(rule: CriterionRule, stages: list[str], key: str, file: str, domain: dict[str, Interval]) -> None:
    if rule.quantity not in CRITERION_QUANTITIES:
        raise PackError(file, f"{key}.quantity", f"{rule.quantity!r} is not known", "correct the name")
    if rule.stage and rule.stage not in stages:
        raise PackError(
            file, f"{key}.stage", f"{rule.stage!r} is no stage of the procedure", f"write one of {stages} or nothing"
        )
    for name, formula in rule.bounds.items():
        _check_formula(
            formula, "tolerance_pct" if name == "tolerance_pct" else rule.quantity, f"{key}.{name}", file, domain
        )
