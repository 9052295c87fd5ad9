"""Reads that span orders, units, plans, bays and authorisations."""

from schedules.selectors.authorisations import Answer, authorised
from schedules.selectors.bays import Fitness, StepFitness, bay_fitness, fitness_of_document
from schedules.selectors.nameplates import RatingLine, nameplate_fields, rating_lines
from schedules.selectors.orders import OrderDetail, order_detail, orders_matching
from schedules.selectors.plans import StepSheet, kinds_in_words, sheets_of_document, sheets_of_plan
from schedules.selectors.proposals import Proposal, agreed_decision, plan_digest, proposal_of
from schedules.selectors.units import (
    UnitDetail,
    UnitRow,
    unit_detail,
    unit_history,
    unit_overview,
    unit_rows,
    units_matching,
)

__all__ = [
    "Answer",
    "Fitness",
    "OrderDetail",
    "Proposal",
    "RatingLine",
    "StepFitness",
    "StepSheet",
    "UnitDetail",
    "UnitRow",
    "agreed_decision",
    "authorised",
    "bay_fitness",
    "fitness_of_document",
    "kinds_in_words",
    "nameplate_fields",
    "order_detail",
    "orders_matching",
    "plan_digest",
    "proposal_of",
    "rating_lines",
    "sheets_of_document",
    "sheets_of_plan",
    "unit_detail",
    "unit_history",
    "unit_overview",
    "unit_rows",
    "units_matching",
]
