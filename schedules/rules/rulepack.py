"""What a rule pack holds once it is read: tables, values and procedures of one document and edition."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from schedules.rules.conditions import Condition
from schedules.rules.formulas import Formula


@dataclass(frozen=True, slots=True)
class Reason:
    """Where a row comes from: clause of the pack's document, how sure of it we are, and the row's name in the pack."""

    clause: str
    confidence: str
    row: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class RetestRule:
    """When a test is made again: the cause, the level in percent of the full one, and the rule in words."""

    cause: str
    level_pct: float
    words: str
    reason: Reason


@dataclass(frozen=True, slots=True)
class AltitudeRule:
    """What the altitude of the service place does to the levels of a procedure: ``applied``, ``stated`` or ``none``."""

    use: str
    words: str
    reason: Reason


@dataclass(frozen=True, slots=True)
class NotPlanned:
    """A test of the document for which there is no kind of step."""

    test: str
    clause: str
    confidence: str


@dataclass(frozen=True, slots=True)
class Level:
    """One row of a table of insulation levels; ``columns`` holds what the table has besides [kV]."""

    highest_voltage_kv: float
    power_frequency_kv: float
    lightning_impulse_kv: tuple[float, ...]
    columns: Mapping[str, float]
    reason: Reason


@dataclass(frozen=True, slots=True)
class LevelTable:
    """A table of insulation levels; ``frequency_hz`` tells which networks it is usual in."""

    name: str
    title: str
    series: str
    frequency_hz: float
    rows: tuple[Level, ...]


@dataclass(frozen=True, slots=True)
class ValueRule:
    """A named value of the pack, which the order may agree otherwise where it is a rating too."""

    name: str
    when: tuple[Condition, ...]
    formula: Formula
    reason: Reason


@dataclass(frozen=True, slots=True)
class StageRule:
    """One stage of a procedure with its formulas."""

    name: str
    voltage_kv: Formula
    hold_s: Formula | None
    tolerance_pct: float
    polarity: str
    wave: str
    reason: Reason


@dataclass(frozen=True, slots=True)
class CriterionRule:
    """One limit: which quantity, in which stage, its bounds as formulas, and whether it judges the unit or the test."""

    quantity: str
    stage: str
    bounds: Mapping[str, Formula]
    judges: str
    reason: Reason


@dataclass(frozen=True, slots=True)
class ProcedureRule:
    """How one test of a document is done."""

    name: str
    when: tuple[Condition, ...]
    kind: str
    title: str
    test_class: str
    choice: str
    order: int
    because: str
    branches: str
    equal: tuple[str, ...]
    retest: tuple[RetestRule, ...]
    arrangement: str
    frequency_hz: Formula
    reference_temperature_c: Formula | None
    needs: tuple[str, ...]
    report: tuple[str, ...]
    threshold_pc: Formula | None
    stages: tuple[StageRule, ...]
    criteria: tuple[CriterionRule, ...]
    setup_checks: tuple[CriterionRule, ...]
    altitude: AltitudeRule | None
    acceptance: str
    compared_with: str
    reason: Reason


@dataclass(frozen=True, slots=True)
class RulePack:
    """One document and edition: its tables, values and procedures, and which equipment it is for."""

    name: str
    document: str
    edition: str
    title: str
    aliases: tuple[str, ...]
    transcribed_by: str
    confirmed_by: str
    remarks: str
    equipment: tuple[str, ...]
    default_for: tuple[str, ...]
    builds_on: tuple[str, ...]
    from_kv: float
    to_kv: float
    own_figures_for: tuple[str, ...]
    altitude_reference: str
    not_planned: tuple[NotPlanned, ...]
    step_kv: float
    floor_step_kv: float
    rounding: Reason
    tables: tuple[LevelTable, ...]
    values: tuple[ValueRule, ...]
    procedures: tuple[ProcedureRule, ...]
    sha256: str
    known_as: frozenset[str]
