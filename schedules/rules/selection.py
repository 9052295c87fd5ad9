"""Chooses, for a unit and an order, which packs give the levels and which give each kind of test."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from schedules.rules.conditions import applies, refuse_undecided
from schedules.rules.errors import BadRatings
from schedules.rules.packs import plain_name
from schedules.rules.rulepack import ProcedureRule, RulePack
from schedules.rules.vocabulary import ALTERNATIVES, DUTIES, EQUIPMENT_KINDS, FIELDS_BY_NAME, STEP_KINDS

_TABLED = ("highest_voltage_kv", "rated_voltage_kv")


@dataclass(frozen=True, slots=True)
class Selection:
    """The packs that the order names, the usual ones for the equipment, and all that are for it."""

    named: tuple[RulePack, ...]
    usual: tuple[RulePack, ...]
    fitting: tuple[RulePack, ...]
    notes: tuple[str, ...] = ()

    @property
    def level_packs(self) -> tuple[RulePack, ...]:
        """Packs with tables of levels: the named ones, and only where they have none the usual ones."""
        return tuple(pack for pack in self.named if pack.tables) or tuple(pack for pack in self.usual if pack.tables)


def choose(ratings: Mapping[str, Any], packs: Sequence[RulePack]) -> Selection:
    """Return the packs for these ratings.

    Parameters
    ----------
    ratings : Mapping[str, Any]
        Read ratings; ``equipment``, and as far as stated ``standards``.
    packs : Sequence[RulePack]
        Every pack that may be used.

    Returns
    -------
    Selection
        At least one of the packs has levels.

    Raises
    ------
    BadRatings
        A document without a pack or without figures, one that is not for this equipment or voltage, or equipment that
        no pack covers.
    """
    kind = ratings["equipment"]
    fitting = tuple(pack for pack in packs if kind in pack.equipment)
    named, notes = _all_named(ratings, packs)
    usual = tuple(pack for pack in fitting if kind in pack.default_for and pack not in named)
    selection = Selection(named, usual, fitting, notes)
    if not selection.level_packs:
        raise _uncovered(kind, packs)
    return selection


def choose_procedures(
    selection: Selection, ratings: Mapping[str, Any]
) -> tuple[list[tuple[RulePack, ProcedureRule]], list[str]]:
    """Return the procedures that apply, each with its pack, and what to tell the reader.

    Parameters
    ----------
    selection : Selection
        The packs for these ratings.
    ratings : Mapping[str, Any]
        Read ratings, completed by the levels; ``discharge_procedure`` and whatever the packs' conditions ask for.

    Returns
    -------
    list[tuple[RulePack, ProcedureRule]]
        Documents that the order names come first; what they leave open is filled from the usual packs.
    list[str]
        A note for each kind of test that was filled in.

    Raises
    ------
    BadRatings
        A discharge procedure or an alternative that none of the packs has, or a rating that decides between procedures
        is missing.
    """
    procedures: list[tuple[RulePack, ProcedureRule]] = []
    notes: list[str] = []
    for step_kind in STEP_KINDS:
        found = _procedures(step_kind, selection, ratings)
        procedures += found
        if selection.named and found and found[0][0] not in selection.named:
            document = found[0][0].document
            notes.append(f"{STEP_KINDS[step_kind]}: the documents named give no procedure; {document} is used.")
    _refuse_unknown_alternative(procedures, ratings)
    return procedures, notes


def _refuse_unknown_alternative(
    procedures: Sequence[tuple[RulePack, ProcedureRule]], ratings: Mapping[str, Any]
) -> None:
    """Refuse an alternative that the order asks for and no document in use has, instead of planning the usual one."""
    for name, word in ALTERNATIVES.items():
        if ratings.get(name) == word and not any(
            condition.rating == name for _, rule in procedures for condition in rule.when
        ):
            documents = ", ".join(dict.fromkeys(pack.document for pack, _ in procedures))
            problem = f"asks for {word} voltage, and none of the documents in use has that ({documents})"
            raise BadRatings(name, problem, "leave it out, or name a document that has it in standards")


@dataclass(frozen=True, slots=True)
class Waiting:
    """A procedure that would apply if one more rating were stated."""

    pack: RulePack
    rule: ProcedureRule
    rating: str

    @property
    def is_figure(self) -> bool:
        """Say whether what it waits for is a figure, and no choice that may be left open."""
        return FIELDS_BY_NAME[self.rating].form == "number"


def waiting_procedures(
    selection: Selection, ratings: Mapping[str, Any], chosen: Sequence[tuple[RulePack, ProcedureRule]]
) -> list[Waiting]:
    """Return the procedures of the packs in use that only wait for one rating which nobody stated.

    Parameters
    ----------
    selection : Selection
        The packs for these ratings.
    ratings : Mapping[str, Any]
        Completed ratings.
    chosen : Sequence[tuple[RulePack, ProcedureRule]]
        The procedures that apply.

    Returns
    -------
    list[Waiting]
        None whose name another procedure of the same document already fills.
    """
    taken = {(pack.name, rule.name) for pack, rule in chosen}
    preferred = [pack.name for pack in (*selection.named, *selection.usual)]
    giving = {rule.kind: pack.name for pack, rule in reversed(chosen)}
    found = []
    for place, pack in enumerate((*selection.named, *selection.usual)):
        for rule in pack.procedures:
            open_ = [one for one in rule.when if not one.holds(ratings)]
            is_passed_over = giving.get(rule.kind) in preferred[:place]
            if len(open_) != 1 or is_passed_over or (pack.name, rule.name) in taken:
                continue
            name = open_[0].rating
            if name not in ratings and name not in DUTIES and name not in ALTERNATIVES:
                found.append(Waiting(pack, rule, name))
    return found


def _all_named(ratings: Mapping[str, Any], packs: Sequence[RulePack]) -> tuple[tuple[RulePack, ...], tuple[str, ...]]:
    """Return the packs that the order names for this equipment; one for another kind is left out where others fit."""
    texts = [(f"standards[{place}]", text) for place, text in enumerate(ratings.get("standards", ()))]
    kind = ratings["equipment"]
    matches = [(place, _matching(text, place, packs)) for place, text in texts]
    fits = [any(kind in pack.equipment for pack in found) for _, found in matches]
    named = [
        _named(found, place, ratings) for (place, found), fit in zip(matches, fits, strict=True) if fit or not any(fits)
    ]
    named += _built_upon(named, kind, packs)
    left = [found[-1].document for (_, found), fit in zip(matches, fits, strict=True) if not fit]
    return tuple(named), tuple(f"{one} is named by the order and is not for this kind of equipment." for one in left)


def _built_upon(named: Sequence[RulePack], kind: str, packs: Sequence[RulePack]) -> list[RulePack]:
    """Return the packs of the documents that the named ones build on, each once, those for this equipment only."""
    wanted = [plain_name(document) for pack in named for document in pack.builds_on]
    fitting = {
        name: next((pack for pack in reversed(packs) if name in pack.known_as and kind in pack.equipment), None)
        for name in wanted
    }
    return [pack for pack in fitting.values() if pack is not None and pack not in named]


def _matching(text: str, place: str, packs: Sequence[RulePack]) -> list[RulePack]:
    wanted = plain_name(text)
    matches = [pack for pack in packs if wanted in pack.known_as]
    if not matches:
        known = {name: pack.document for pack in packs for name in pack.known_as}
        near = get_close_matches(wanted, known, n=1, cutoff=0.75)
        mend = (
            f"did you mean {known[near[0]]}?"
            if near
            else f"known are {', '.join(sorted({pack.document for pack in packs}))}"
        )
        raise BadRatings(place, f"there is no rule pack for {text[:60]!r}", mend)
    return matches


def _named(matches: Sequence[RulePack], place: str, ratings: Mapping[str, Any]) -> RulePack:
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


def _procedures(kind: str, selection: Selection, ratings: Mapping[str, Any]) -> list[tuple[RulePack, ProcedureRule]]:
    stated = ratings.get("discharge_procedure") if kind == "partial_discharge" else None
    packs = (*selection.named, *selection.usual) if stated is None else (*selection.named, *selection.fitting)
    added: list[tuple[RulePack, ProcedureRule]] = []
    for pack in packs:
        rules = [rule for rule in pack.procedures if rule.kind == kind]
        if stated is not None:
            rules = [rule for rule in rules if rule.choice and rule.name == stated]
        applying = [rule for rule in rules if applies(rule, ratings)]
        if not applying:
            refuse_undecided(rules, ratings, pack.document)
            continue
        if all(_adds(rule) for rule in applying):
            added += [(pack, rule) for rule in applying]
            continue
        first = next((rule.name for rule in applying if rule.choice), "")
        return [*added, *((pack, rule) for rule in applying if not rule.choice or rule.name == first)]
    if stated is not None:
        known = sorted(
            {rule.name for pack in selection.fitting for rule in pack.procedures if rule.kind == kind and rule.choice}
        )
        mend = f"give one of {', '.join(known)}" if known else "leave it out"
        raise BadRatings("discharge_procedure", f"{stated!r} is in no pack for this equipment", mend)
    return added


def _adds(rule: ProcedureRule) -> bool:
    """Say whether a procedure stands beside what another document gives: it hangs on a figure of its own."""
    numbers = [one.rating for one in rule.when if FIELDS_BY_NAME[one.rating].form == "number"]
    return any(name not in _TABLED for name in numbers)


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
