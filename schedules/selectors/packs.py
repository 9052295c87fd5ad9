"""Which packs are in force, which rows of them somebody has confirmed, and which a plan rests on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from schedules.models import PackVersion, Plan, RowConfirmation, RulePolicy
from schedules.rules import BadRatings, RulePack, derive_plan, load_packs, read_pack
from schedules.rules.derivation import NOT_CONFIRMED
from schedules.rules.rows import PackRow, shipped_rows


def packs_in_force() -> tuple[RulePack, ...]:
    """Return the shipped packs, then the laboratory's own that a second person has confirmed."""
    own = PackVersion.objects.in_force().select_related("confirmed_by")
    return (*load_packs(), *(_own_pack(row.content, row.file, str(row.confirmed_by)) for row in own))


@lru_cache(maxsize=64)
def _own_pack(content: str, file: str, confirmed_by: str) -> RulePack:
    return replace(read_pack(content.encode("utf-8"), file), confirmed_by=confirmed_by)


@dataclass(frozen=True)
class ShippedPack:
    """One pack that ships, with how many of its rows somebody has confirmed."""

    pack: RulePack
    rows: int
    confirmed: int


def shipped_packs() -> list[ShippedPack]:
    """Return the packs that ship, in the order of their documents, with two figures each."""
    found = set(RowConfirmation.objects.values_list("pack", "digest"))
    made = []
    for pack in sorted(load_packs(), key=lambda one: one.document):
        rows = shipped_rows(pack.name)
        made.append(ShippedPack(pack, len(rows), sum((pack.name, row.digest) in found for row in rows)))
    return made


@dataclass(frozen=True)
class RowLine:
    """One row of a shipped pack as its page shows it."""

    row: PackRow
    confirmation: RowConfirmation | None


def row_lines(pack: str) -> list[RowLine]:
    """Return the rows of a shipped pack with who confirmed each."""
    found = {one.digest: one for one in RowConfirmation.objects.filter(pack=pack).select_related("confirmed_by")}
    return [RowLine(row, found.get(row.digest)) for row in shipped_rows(pack)]


@dataclass(frozen=True)
class Unconfirmed:
    """Rows behind a plan that nobody has confirmed: `places` of (pack, row), and a sentence for each document."""

    places: frozenset[tuple[str, str]]
    words: tuple[str, ...]


def unconfirmed_rows(document: dict[str, Any]) -> Unconfirmed:
    """Return which rows behind a plan nobody has confirmed against a licensed copy; one query."""
    packs = {pack["name"]: pack for pack in document.get("packs", ())}
    behind = sorted(
        {(basis["pack"], basis["row"]) for step in document["steps"] for basis in step["basis"] if basis.get("row")}
    )
    confirmed = set(RowConfirmation.objects.filter(pack__in=packs).values_list("pack", "digest"))
    places = frozenset(place for place in behind if _is_open(place, packs, confirmed))
    words = tuple(
        f"{pack['document']} {pack['edition']}: {_count(sum(name == one for one, _ in places))} behind this plan "
        f"{'is' if sum(name == one for one, _ in places) == 1 else 'are'} not confirmed against a licensed copy."
        for name, pack in packs.items()
        if any(name == one for one, _ in places)
    )
    if "workings" not in document:  # made by an earlier release, whose plans do not name the rows
        words = (*words, "This plan does not name the rows that it rests on; adopt it anew to see which are confirmed.")
    return Unconfirmed(places, words)


def warnings_besides_rows(document: dict[str, Any]) -> list[str]:
    """Return the warnings of a plan without those about unconfirmed packs, which pages tell row by row."""
    return [words for words in document["warnings"] if not words.endswith(NOT_CONFIRMED)]


def _count(number: int) -> str:
    return "one row" if number == 1 else f"{number} rows"


def _is_open(place: tuple[str, str], packs: dict[str, Any], confirmed: set[tuple[str, str]]) -> bool:
    """Say whether a row is unconfirmed; one of the laboratory's own packs was confirmed as a whole."""
    name, key = place
    digest = _row_digests(name).get(key)
    if digest is None:
        return not _is_own(packs.get(name))
    return (name, digest) not in confirmed


@lru_cache(maxsize=64)
def _row_digests(name: str) -> dict[str, str]:
    return {row.key: row.digest for row in shipped_rows(name)}


def _is_own(pack: dict[str, Any] | None) -> bool:
    return pack is not None and not shipped_rows(pack["name"])


def blocking_words(plan: Plan) -> tuple[str, ...]:
    """Return why unconfirmed rows keep a unit from its certificate; nothing where the laboratory lets them pass."""
    if not RulePolicy.objects.filter(pk=1, blocks_certificates=True).exists():
        return ()
    words = unconfirmed_rows(plan.document).words
    return (*words, "The laboratory decided that this blocks a certificate: have the rows confirmed.") if words else ()


def policy() -> RulePolicy:
    """Return what the laboratory decided about unconfirmed rows; marked only, where it never did."""
    return RulePolicy.objects.filter(pk=1).first() or RulePolicy(pk=1)


@dataclass(frozen=True)
class Trial:
    """What a pack gives for sample ratings: a plan, or the reason why there is none."""

    document: dict[str, Any] | None
    words: str = ""


def trial_of(pack: RulePack, ratings: object) -> Trial:
    """Derive a plan from sample ratings with a pack that is not in force yet; nothing is stored."""
    others: Iterable[RulePack] = (one for one in packs_in_force() if one.name != pack.name)
    try:
        return Trial(derive_plan(ratings, packs=(*others, pack)).as_dict())
    except BadRatings as refused:
        return Trial(None, f"{refused}.")
