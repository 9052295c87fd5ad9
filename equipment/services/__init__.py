"""What can be done with instruments, their calibrations and measuring systems."""

from equipment.services.calibrations import Circumstances, Point, decide_corrections, enter_calibration
from equipment.services.drafts import confirm_draft, read_file, read_pasted, set_aside_draft
from equipment.services.instruments import change_state, edit_instrument, enter_instrument, remember_columns
from equipment.services.keeping import end_range, enter_range, hand_over, keep_file, log_event
from equipment.services.systems import assign_system, end_system

__all__ = [
    "Circumstances",
    "Point",
    "assign_system",
    "change_state",
    "confirm_draft",
    "decide_corrections",
    "edit_instrument",
    "end_range",
    "end_system",
    "enter_calibration",
    "enter_instrument",
    "enter_range",
    "hand_over",
    "keep_file",
    "log_event",
    "read_file",
    "read_pasted",
    "remember_columns",
    "set_aside_draft",
]
