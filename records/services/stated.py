"""What a record does not hold, stated by people on the run sheet; `records.evaluation.asked` is the table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from labsite.ledger.services import record_entry, writing
from records.evaluation.asked import unpaired
from records.models import Run, SetupCheck
from records.models.procedure import stated_values
from records.selectors.stated import asked_on_sheet
from records.services import lifecycle
from records.services.refusals import Refused, ValueRefused
from records.services.rejudging import judge_again

KIND = SetupCheck.Kind.TEST_VALUES


def state_values(*, run: Run, values: Mapping[str, Any], by: Any) -> SetupCheck:
    """Note the values of a test that its record does not hold; where a record is judged already it is judged again.

    The values take the place of those stated before; both stay, and so does the evaluation that was made with the old
    ones. An empty value is one that nobody states.
    """
    with writing():
        held = lifecycle.locked(run)
        lifecycle.require(held, "state_values")
        lifecycle.require_person_of(held, by)
        stated = {name: value for name, value in values.items() if value not in (None, "")}
        _require_known(held, stated)
        before = dict(stated_values(held))
        check = SetupCheck.objects.create(run=held, kind=KIND, values=stated, is_satisfied=True, made_by=by)
        names = [name for name in {**before, **stated} if before.get(name) != stated.get(name)]
        told = {name: [before.get(name), stated.get(name)] for name in names}
        record_entry(action=f"run.check.{KIND}", subject=held, changes=told, by=by)
        if names and held.state in (Run.State.RECORDED, Run.State.JUDGED):
            judge_again(held, "The stated values have changed.", by)
        return check


def _require_known(run: Run, stated: Mapping[str, Any]) -> None:
    asked = {one.name: one for one in asked_on_sheet(run)}
    for name in stated:
        if name not in asked:
            raise ValueRefused(f"“{name}” is not asked of this test. Nothing was changed.")
    lacks = [words for name, value in stated.items() if (words := asked[name].refusal(value))] or unpaired(stated)
    if lacks:
        raise Refused("Nothing was changed.", lacks)
