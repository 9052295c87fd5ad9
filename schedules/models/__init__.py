"""What must be tested."""

from schedules.models.authorisation import Authorisation
from schedules.models.bay import Bay
from schedules.models.order import Order
from schedules.models.plan import Arrangement, Plan, Step
from schedules.models.unit import Unit, UnitPhoto

__all__ = ["Arrangement", "Authorisation", "Bay", "Order", "Plan", "Step", "Unit", "UnitPhoto"]
