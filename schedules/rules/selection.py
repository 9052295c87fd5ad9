"""Chooses, for a unit and an order, which packs give the levels and which give each kind of test."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from schedules.rules.errors import BadRatings
from schedules.rules.rulepack import ProcedureRule, RulePack
from schedules.rules.vocabulary import EQUIPMENT_KINDS, STEP_KINDS


@dataclass(frozen=True, slots=True)
class Selection:
    """Packs with levels in order of preference, the procedures that apply with their packs, and what to tell."""

    level_packs: tuple[RulePack, ...]
    procedures: tuple[tuple[RulePack, ProcedureRule], ...]
    notes: tuple[str, ...]


def choose(ratings: Mapping[str, Any], packs: Sequence[RulePack]) -> Selection:
    """Return the packs and procedures for these ratings.

    Parameters
    ----------
    ratings : Mapping[str, Any]
        Read ratings; ``equipment``, and as far as stated ``standards`` and ``discharge_procedure``.
    packs : Sequence[RulePack]
        Every pack that may be used.

    Returns
    -------
    Selection
        Documents that the order names come first; what they leave open is filled from the packs that are the usual ones
        for the equipment, and a note says so.

    Raises
    ------
    BadRatings
        A document without a pack or without figures, one that is not for this equipment or voltage, equipment that no
        pack covers, or a discharge procedure that none of the packs has.
    """
    kind = ratings["equipment"]
    fitting = [pack for pack in packs if kind in pack.equipment]
    named = [
        _named(text, f"standards[{place}]", ratings, packs) for place, text in enumerate(ratings.get("standards", ()))
    ]
    usual = [pack for pack in fitting if kind in pack.default_for and pack not in named]
    level_packs = tuple(pack for pack in named if pack.tables) or tuple(pack for pack in usual if pack.tables)
    if not level_packs:
        raise _uncovered(kind, packs)
    procedures: list[tuple[RulePack, ProcedureRule]] = []
    notes: list[str] = []
    for step_kind in STEP_KINDS:
        found = _procedures(step_kind, named, usual, fitting, ratings.get("discharge_procedure"))
        procedures += found
        if named and found and found[0][0] not in named:
            document = found[0][0].document
            notes.append(f"{STEP_KINDS[step_kind]}: the documents named give no procedure; {document} is used.")
    return Selection(level_packs, tuple(procedures), tuple(notes))


def _named(text: str, place: str, ratings: Mapping[str, Any], packs: Sequence[RulePack]) -> RulePack:
    wanted = _plain(text)
    matches = [pack for pack in packs if wanted in _names(pack)]
    if not matches:
        known = {name: pack.document for pack in packs for name in _names(pack)}
        near = get_close_matches(wanted, known, n=1, cutoff=0.75)
        mend = (
            f"did you mean {known[near[0]]}?"
            if near
            else f"known are {', '.join(sorted({pack.document for pack in packs}))}"
        )
        raise BadRatings(place, f"there is no rule pack for {text[:60]!r}", mend)
    kind = ratings["equipment"]
    fitting = [pack for pack in matches if kind in pack.equipment]
    if not fitting:
        covers = ", ".join(matches[-1].equipment)
        raise BadRatings(
            place, f"{matches[-1].document} is not for {kind}", f"it covers {covers}; name another document"
        )
    pack = fitting[-1]
    if pack.own_figures_for and not (pack.tables or pack.procedures):
        parts = ", ".join(pack.own_figures_for)
        raise BadRatings(
            place,
            f"{pack.document} ships without figures, because none is confirmed",
            f"enter the laboratory's own pack from its licensed copy ({parts})",
        )
    voltage = ratings.get("highest_voltage_kv")
    if voltage is not None and not pack.from_kv <= voltage <= pack.to_kv:
        raise BadRatings(
            "highest_voltage_kv",
            f"is {voltage:g} kV, and {pack.document} covers {pack.from_kv:g} to {pack.to_kv:g} kV",
            f"correct it or name another document in {place}",
        )
    return pack


def _names(pack: RulePack) -> set[str]:
    forms = (
        pack.document,
        *pack.aliases,
        f"{pack.document}:{pack.edition}",
        f"{pack.document}-{pack.edition}",
        pack.name,
    )
    return {_plain(form) for form in forms}


def _plain(text: str) -> str:
    return " ".join(text.upper().replace("–", "-").split())


def _procedures(
    kind: str, named: Sequence[RulePack], usual: Sequence[RulePack], fitting: Sequence[RulePack], stated: str | None
) -> list[tuple[RulePack, ProcedureRule]]:
    if stated is not None and kind == "partial_discharge":
        for pack in (*named, *usual, *fitting):
            for rule in pack.procedures:
                if rule.kind == kind and rule.choice and rule.name == stated:
                    return [(pack, rule)]
        known = sorted({rule.name for pack in fitting for rule in pack.procedures if rule.kind == kind and rule.choice})
        mend = f"give one of {', '.join(known)}" if known else "leave it out"
        raise BadRatings("discharge_procedure", f"{stated!r} is in no pack for this equipment", mend)
    for pack in (*named, *usual):
        rules = [rule for rule in pack.procedures if rule.kind == kind]
        alternatives = [rule for rule in rules if rule.choice]
        if rules:
            return [(pack, rule) for rule in rules if rule not in alternatives[1:]]
    return []


def _uncovered(kind: str, packs: Sequence[RulePack]) -> BadRatings:
    covered = sorted({one for pack in packs if pack.tables for one in pack.default_for})
    documents = sorted({pack.document for pack in packs if kind in pack.equipment and pack.tables})
    if documents:
        return BadRatings(
            "standards", f"names no document with insulation levels for {kind}", f"name one of {', '.join(documents)}"
        )
    return BadRatings(
        "equipment",
        f"no rule pack with insulation levels covers {kind} ({EQUIPMENT_KINDS[kind]})",
        f"add the laboratory's own pack; covered are {', '.join(covered)}",
    )
