"""The life of an instrument: from which state into which."""

from __future__ import annotations

from typing import Any

from equipment.models import Instrument

State = Instrument.State
# A retired instrument stays retired: who brings one back enters it again under a new identifier.
TRANSITIONS: dict[Any, tuple[Any, ...]] = {
    State.IN_USE: (State.IN_CALIBRATION, State.QUARANTINED, State.RETIRED),
    State.IN_CALIBRATION: (State.IN_USE, State.QUARANTINED, State.RETIRED),
    State.QUARANTINED: (State.IN_USE, State.IN_CALIBRATION, State.RETIRED),
    State.RETIRED: (),
}


def next_states(state: str) -> list[tuple[str, str]]:
    """Return the states that may follow, with their words."""
    return [(State(value).value, str(State(value).label)) for value in TRANSITIONS[state]]
