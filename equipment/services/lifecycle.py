"""The life of an instrument: from which state into which."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Any

from django.utils import timezone

from equipment.models import Instrument

State = Instrument.State
# A retired instrument stays retired: who brings one back enters it again under a new identifier.
TRANSITIONS: dict[Any, tuple[Any, ...]] = {
    State.IN_USE: (State.IN_CALIBRATION, State.QUARANTINED, State.RETIRED),
    State.IN_CALIBRATION: (State.IN_USE, State.QUARANTINED, State.RETIRED),
    State.QUARANTINED: (State.IN_USE, State.IN_CALIBRATION, State.RETIRED),
    State.RETIRED: (),
}
_NOON = time(12)


def next_states(state: str) -> list[tuple[str, str]]:
    """Return the states that may follow, with their words."""
    return [(State(value).value, str(State(value).label)) for value in TRANSITIONS[state]]


def moment_of(on: date) -> datetime:
    """Return the moment that a change of that day gets: now for today, noon for a day that is entered later."""
    now = timezone.localtime()
    return now if on == now.date() else timezone.make_aware(datetime.combine(on, _NOON))
