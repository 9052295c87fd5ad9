"""Who may do what with equipment: one table, read by services and pages."""

from __future__ import annotations

from typing import Any

from labsite.people.access import require_role
from labsite.people.roles import LABORATORY_ROLES, Role

QUALITY = frozenset({Role.QUALITY_MANAGER})
RIGHTS: dict[str, frozenset[Any]] = {
    "enter_instrument": QUALITY,
    "edit_instrument": QUALITY,
    "change_state": QUALITY,
    "enter_calibration": QUALITY,
    "assign_system": QUALITY,
    "end_system": QUALITY,
    "remember_columns": LABORATORY_ROLES,
    "log_event": LABORATORY_ROLES,
    "hand_over": LABORATORY_ROLES,
    "enter_range": QUALITY,
    "keep_file": QUALITY,
    "read_calibration": QUALITY,
    "decide_interval": QUALITY,
    "make_budget": QUALITY,
    "check_system": LABORATORY_ROLES,
    "enter_standard": QUALITY,
    "read_standard": LABORATORY_ROLES,
    "acknowledge_alarm": QUALITY,
    "import_instruments": QUALITY,
    "set_reminders": LABORATORY_ROLES,
    "settle_reminders": QUALITY,
}


def require_right(deed: str, by: Any) -> None:
    """Refuse the deed to an actor whose roles do not cover it."""
    require_role(by, *RIGHTS[deed])


def has_right(deed: str, viewer: Any) -> bool:
    """Say whether a person may do the deed."""
    return bool(viewer.is_active and viewer.has_role(*RIGHTS[deed]))
