"""What must be tested."""

from schedules.models.authorisation import Authorisation
from schedules.models.bay import Bay
from schedules.models.order import Order
from schedules.models.pack import PackVersion, RowConfirmation, RulePolicy
from schedules.models.plan import Arrangement, Evidence, Plan, RevisionReview, Step
from schedules.models.unit import Unit, UnitPhoto

__all__ = [
    "Arrangement",
    "Authorisation",
    "Bay",
    "Evidence",
    "Order",
    "PackVersion",
    "Plan",
    "RevisionReview",
    "RowConfirmation",
    "RulePolicy",
    "Step",
    "Unit",
    "UnitPhoto",
]
