"""The life cycle of a run: one table of transitions, which guards, pages and the property test all read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import PermissionDenied

from labsite.ledger.services import record_entry
from labsite.people.roles import LABORATORY_ROLES
from records.models import Run
from records.services.refusals import ValueRefused, WrongState

State: Any = Run.State
LABORATORY = tuple(sorted(LABORATORY_ROLES))
BEFORE_APPROVAL = (State.SETUP, State.ENERGISED, State.RECORDED, State.JUDGED, State.SIGNED)


@dataclass(frozen=True)
class Transition:
    """One deed: where a run must stand, where it stands afterwards, and what the deed is called in a sentence."""

    name: str
    sources: tuple[str, ...]
    target: str
    words: str


_TABLE = (
    Transition("open_stages", (State.SETUP,), State.ENERGISED, "open the energised stages"),
    Transition("store_record", (State.ENERGISED, State.RECORDED, State.JUDGED), State.RECORDED, "store a record"),
    Transition("refuse_record", (State.RECORDED,), State.ENERGISED, "refuse the record"),
    Transition("judge", (State.RECORDED,), State.JUDGED, "judge the record"),
    Transition("fall_back", (State.RECORDED,), State.JUDGED, "fall back on an earlier record"),
    Transition("judge_again", (State.ENERGISED, State.RECORDED, State.JUDGED), State.RECORDED, "have it judged again"),
    Transition("sign", (State.JUDGED,), State.SIGNED, "sign as tester"),
    Transition("approve", (State.SIGNED,), State.APPROVED, "approve the run"),
    Transition("ask_for_repeat", (State.SIGNED,), State.ABANDONED, "ask for a repeat"),
    Transition("abandon", BEFORE_APPROVAL, State.ABANDONED, "abandon the run"),
)
TRANSITIONS: Mapping[str, Transition] = {transition.name: transition for transition in _TABLE}

# Deeds that leave a run where it stands, and where it must stand for them.
WHILE: Mapping[str, tuple[str, ...]] = {
    "prepare": (State.SETUP,),
    "mark_stage": (State.ENERGISED,),
    "tell_columns": (State.RECORDED, State.JUDGED),
    "choose_records": (State.ENERGISED, State.RECORDED, State.JUDGED),
    "state_values": (State.SETUP, State.ENERGISED, State.RECORDED, State.JUDGED),
    "note": BEFORE_APPROVAL,
}
_WHILE_WORDS = {
    "prepare": "change the set-up",
    "mark_stage": "mark a stage",
    "tell_columns": "tell the columns",
    "choose_records": "change which files are judged",
    "state_values": "state values of the test",
    "note": "add to the run",
}


def is_allowed(state: str, deed: str) -> bool:
    """Say whether a run in that state may undergo the deed."""
    sources = TRANSITIONS[deed].sources if deed in TRANSITIONS else WHILE[deed]
    return state in sources


def deeds_open_to(state: str) -> frozenset[str]:
    """Return every deed that a run in that state may undergo, for pages."""
    return frozenset(deed for deed in (*TRANSITIONS, *WHILE) if is_allowed(state, deed))


def require(run: Run, deed: str) -> None:
    """Raise WrongState where the run does not stand where the deed needs it."""
    if is_allowed(run.state, deed):
        return
    words = TRANSITIONS[deed].words if deed in TRANSITIONS else _WHILE_WORDS[deed]
    raise WrongState(
        f"Run {run.number} stands at “{run.get_state_display()}”: nobody can {words} there. Nothing was changed."
    )


def locked(run: Run) -> Run:
    """Return the run as it is now, held until the transaction ends."""
    rows = Run.objects.select_for_update(of=("self",))
    return rows.select_related("step__plan__unit", "arrangement", "operator", "second_person").get(pk=run.pk)


def move(run: Run, deed: str, *, changes: Mapping[str, Any] | None = None, reason: str = "", by: Any) -> None:
    """Move a locked run along the table, with further fields, and write the entry."""
    require(run, deed)
    told = dict(changes or {}) | {"state": TRANSITIONS[deed].target}
    pairs = {name: [getattr(run, name), value] for name, value in told.items()}
    for name, value in told.items():
        setattr(run, name, value)
    run.version += 1
    run.save(update_fields=[*told, "version"])
    record_entry(action=f"run.{deed}", subject=run, changes=pairs, reason=reason, by=by)


def require_person_of(run: Run, by: Any) -> None:
    """Raise PermissionDenied unless the person is the operator or the second person of the run."""
    if getattr(by, "pk", None) not in (run.operator_id, run.second_person_id):
        raise PermissionDenied(
            f"Only {run.operator} and {run.second_person}, who perform run {run.number}, may write on its sheet."
        )


def require_role(by: Any, *roles: Any, words: str) -> None:
    """Raise PermissionDenied unless the person holds one of the roles."""
    if not (getattr(by, "is_active", False) and by.has_role(*roles)):
        raise PermissionDenied(words)


def required_text(value: str, words: str) -> str:
    """Return the text without blanks around it; raise ValueRefused where nothing is left."""
    text = (value or "").strip()
    if not text:
        raise ValueRefused(words)
    return text
