"""What people state of a test beside its record: what is asked, and what was answered, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from records.evaluation.asked import Asked, asked_of, stages_named
from records.models import Run
from records.models.procedure import procedure_of, stage_words, stated_values
from records.selectors.earlier import LENDER, choosable_lenders, lent_row

_LENDER_WORDS = "Cold resistance from run"


def asked_on_sheet(run: Run) -> tuple[Asked, ...]:
    """Return what the sheet of a run asks for: what its kind needs, without what the plan states."""
    return tuple(one for one in (*_asked(run), *_lending(run)) if _planned(one, run) is None)


def _lending(run: Run) -> tuple[Asked, ...]:
    """Return the question which earlier run lends, where there are some; the one chosen stays, though it fell."""
    choices = {one.run: one.words for one in choosable_lenders(run)}
    chosen = stated_values(run).get(LENDER)
    if chosen and chosen not in choices:
        choices[chosen] = f"run {chosen}, which does not stand"
    hint = "The run that measured the winding whose cooling this is. A resistance stated above goes before it."
    return (Asked(LENDER, _LENDER_WORDS, choices=tuple(choices.items()), hint=hint),) if choices else ()


def _asked(run: Run) -> tuple[Asked, ...]:
    stages = procedure_of(run.step.document).get("stages") or ()
    return asked_of(run.step.kind, {stage["name"]: stage_words(stage["name"]) for stage in stages})


def value_rows(run: Run) -> list[tuple[str, str]]:
    """Return what is known of each value that the kind needs: as stated, or as the plan has it; (name, value)."""
    stated, rows = stated_values(run), []
    lent = lent_row(run)
    for one in _asked(run):
        planned = _planned(one, run)
        if one.name in stated:
            rows.append((one.words, value_words(one, stated[one.name])))
        elif planned is not None:
            rows.append((one.words, f"{planned}, as the plan states"))
    return [*rows, lent] if lent else rows


def values_in_words(kind: str, values: Mapping[str, Any]) -> str:
    """Return stated values in one line; empty where none are stated."""
    stages = {name: stage_words(name) for name in stages_named(values)}
    known = {one.name: one for one in asked_of(kind, stages)}
    said = [f"{one.words.lower()} {value_words(one, values[name])}" for name, one in known.items() if name in values]
    if values.get(LENDER):
        said.append(f"{_LENDER_WORDS.lower()} {values[LENDER]}")
    return ", ".join(said)


def value_words(one: Asked, value: Any) -> str:
    """Return one value as people read it, with its unit."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if one.choices:
        return dict(one.choices).get(value, str(value))
    return f"{value:.6g} {one.unit}".strip() if isinstance(value, int | float) else f"“{value}”"


def _planned(one: Asked, run: Run) -> str | None:
    """Return what the plan states in place of a value, in words, or None."""
    known = procedure_of(run.step.document)
    if one.into == "step" and known.get(one.name) is not None:
        return value_words(one, known[one.name])
    if one.unless and known.get(one.unless) is not None:
        return one.unless_words.format(known[one.unless])
    return None
