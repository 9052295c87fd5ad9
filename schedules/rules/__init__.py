"""PURE: ratings in, plan out. Rule packs are the data; no Django, no settings, no clock, no database."""

from schedules.rules.derivation import derive_plan
from schedules.rules.errors import BadRatings, FormulaError, PackError
from schedules.rules.packs import load_packs, read_pack
from schedules.rules.plans import Arrangement, Basis, Criterion, Plan, PlannedStep, Procedure, Stage, UsedPack
from schedules.rules.rulepack import RulePack
from schedules.rules.structure import pack_schema
from schedules.rules.vocabulary import (
    EQUIPMENT_KINDS,
    FIELDS_BY_NAME,
    RATING_FIELDS,
    STEP_KINDS,
    TEST_CLASSES,
    RatingField,
)

__all__ = [
    "EQUIPMENT_KINDS",
    "FIELDS_BY_NAME",
    "RATING_FIELDS",
    "STEP_KINDS",
    "TEST_CLASSES",
    "Arrangement",
    "BadRatings",
    "Basis",
    "Criterion",
    "FormulaError",
    "PackError",
    "Plan",
    "PlannedStep",
    "Procedure",
    "RatingField",
    "RulePack",
    "Stage",
    "UsedPack",
    "derive_plan",
    "load_packs",
    "pack_schema",
    "read_pack",
]
