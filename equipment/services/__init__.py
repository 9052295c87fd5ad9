"""What can be done with instruments, their calibrations and measuring systems."""

from equipment.services.calibrations import Point, enter_calibration
from equipment.services.instruments import change_state, edit_instrument, enter_instrument, remember_columns
from equipment.services.systems import assign_system, end_system

__all__ = [
    "Point",
    "assign_system",
    "change_state",
    "edit_instrument",
    "end_system",
    "enter_calibration",
    "enter_instrument",
    "remember_columns",
]
