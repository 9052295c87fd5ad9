"""Who hears of a calibration that found an instrument outside what is required: rooms above this one enter here."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from equipment.models import Calibration

Listener = Callable[[Calibration, Any], None]
_listeners: dict[str, Listener] = {}


def when_found_wrong(name: str, listener: Listener) -> None:
    """Enter who is told, once under a name; called inside the transaction that stores the calibration."""
    _listeners[name] = listener


def tell_found_wrong(calibration: Calibration, by: Any) -> None:
    """Tell everybody who asked, in the order in which they entered."""
    for listener in _listeners.values():
        listener(calibration, by)
