"""What differs between two revisions of a plan: ratings, packs, and step by step."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from schedules.rules.units import unit_of
from schedules.rules.vocabulary import FIELDS_BY_NAME

State = Literal["same", "changed", "new", "gone"]
_STAGE_FIELDS = (("set_point_kv", "set point", "kV"), ("hold_s", "hold", "s"), ("tolerance_pct", "tolerance", "%"))
_BOUNDS = (("min", "at least"), ("max", "at most"), ("nominal", "nominal"), ("tolerance_pct", "tolerance in %"))


@dataclass(frozen=True, slots=True)
class StepDifference:
    """One step of either revision: its places there (from 0, None where it has none), and what changed in words."""

    title: str
    state: State
    before: int | None
    after: int | None
    changes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Differences:
    """What differs between two revisions."""

    ratings: tuple[str, ...]
    packs: tuple[str, ...]
    steps: tuple[StepDifference, ...]

    @property
    def is_none(self) -> bool:
        """Say whether nothing that is tested differs."""
        return not self.ratings and not self.packs and all(step.state == "same" for step in self.steps)


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> Differences:
    """Return what differs between two plans.

    Parameters
    ----------
    before, after : Mapping[str, Any]
        Plans in the shape of the shell contract.

    Returns
    -------
    Differences
        Ratings and packs in sentences; the steps of the later plan in their order, then those that are gone. Steps
        are the same test where kind, procedure and title agree.

    Examples
    --------
    >>> empty = {"ratings": {}, "packs": [], "steps": []}
    >>> differences(empty, empty).is_none
    True
    """
    return Differences(
        tuple(_ratings(before["ratings"], after["ratings"])),
        tuple(_packs(before["packs"], after["packs"])),
        tuple(_steps(before["steps"], after["steps"])),
    )


def _ratings(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[str]:
    for name, field in FIELDS_BY_NAME.items():
        if before.get(name) != after.get(name):
            yield f"{field.label}: {_told(before.get(name), field.unit)}, now {_told(after.get(name), field.unit)}."


def _told(value: Any, unit: str) -> str:
    if value in (None, "", []):
        return "not stated"
    if isinstance(value, list):
        return ", ".join(_listed(one) for one in value)
    shown = f"{value:g}" if isinstance(value, int | float) else str(value).replace("_", " ")
    return f"{shown} {unit}".rstrip()


def _listed(one: Any) -> str:
    if isinstance(one, Mapping):
        return "(" + ", ".join(f"{FIELDS_BY_NAME[name].label.lower()} {value:g}" for name, value in one.items()) + ")"
    return str(one).replace("_", " ")


def _packs(before: Sequence[Mapping[str, Any]], after: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    old, new = ({pack["name"]: pack for pack in packs} for packs in (before, after))
    for name in sorted({*old, *new}):
        was, is_ = old.get(name), new.get(name)
        if was is None and is_ is not None:
            yield f"{is_['document']} {is_['edition']} is used now."
        elif is_ is None and was is not None:
            yield f"{was['document']} {was['edition']} is not used any more."
        elif was is not None and is_ is not None and was["sha256"] != is_["sha256"]:
            yield f"{is_['document']} {is_['edition']}: the pack was changed."


def _steps(before: Sequence[Mapping[str, Any]], after: Sequence[Mapping[str, Any]]) -> Iterator[StepDifference]:
    left = list(range(len(before)))
    for place, step in enumerate(after):
        match = next((index for index in left if _key(before[index]) == _key(step)), None)
        if match is None:
            yield StepDifference(step["title"], "new", None, place)
            continue
        left.remove(match)
        changes = tuple(_changes(before[match], step))
        yield StepDifference(step["title"], "changed" if changes else "same", match, place, changes)
    for index in left:
        yield StepDifference(before[index]["title"], "gone", index, None)


def _key(step: Mapping[str, Any]) -> tuple[str, str, str]:
    return step["kind"], step["procedure"].get("name", ""), step["title"].partition(" (branch")[0]


def _changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[str]:
    old, new = before["procedure"], after["procedure"]
    yield from _stage_changes(_by(old.get("stages", []), "name"), _by(new.get("stages", []), "name"))
    keys = ("quantity", "stage", "branch")
    for part, words in (("criteria", "limit"), ("setup_checks", "set-up check")):
        yield from _limit_changes(_by(old.get(part, []), *keys), _by(new.get(part, []), *keys), words)
    for name, words in (
        ("threshold_pc", "threshold"),
        ("frequency_hz", "frequency"),
        ("reference_temperature_c", "reference temperature"),
    ):
        if old.get(name) != new.get(name):
            unit = unit_of(name)
            yield f"{words}: {_told(old.get(name), unit)}, now {_told(new.get(name), unit)}"
    earlier = [(one.get("compared_with") or {}).get("title") for one in (old, new)]
    if earlier[0] != earlier[1]:
        yield f"compared with: {_told(earlier[0], '')}, now {_told(earlier[1], '')}"
    if old.get("acceptance") != new.get("acceptance"):
        yield f"series of impulses: {_told(old.get('acceptance'), '')}, now {_told(new.get('acceptance'), '')}"
    if old.get("air") != new.get("air"):
        yield "correction for the air: changed"
    names = [[one["name"] for one in step["arrangements"]] for step in (before, after)]
    if names[0] != names[1]:
        yield f"arrangements: {', '.join(names[0])}, now {', '.join(names[1])}"


def _by(rows: Sequence[Mapping[str, Any]], *keys: str) -> dict[tuple[str, ...], Mapping[str, Any]]:
    return {tuple(str(row.get(key, "")) for key in keys): row for row in rows}


def _stage_changes(old: Mapping[Any, Mapping[str, Any]], new: Mapping[Any, Mapping[str, Any]]) -> Iterator[str]:
    for key in dict.fromkeys([*old, *new]):
        title = key[0].replace("_", " ")
        was, is_ = old.get(key, {}), new.get(key, {})
        for name, words, unit in _STAGE_FIELDS:
            if was.get(name) != is_.get(name):
                yield f"{title}, {words}: {_told(was.get(name), unit)}, now {_told(is_.get(name), unit)}"


def _named(quantity: str) -> str:
    """Return a quantity's name without the unit that its suffix states."""
    return (quantity.rpartition("_")[0] if unit_of(quantity) else quantity).replace("_", " ")


def _limit_changes(
    old: Mapping[Any, Mapping[str, Any]], new: Mapping[Any, Mapping[str, Any]], words: str
) -> Iterator[str]:
    for key in dict.fromkeys([*old, *new]):
        if key[0] in ("held_voltage_kv", "held_s"):  # they follow from the stages, which are told already
            continue
        was, is_ = old.get(key, {}), new.get(key, {})
        unit = unit_of(key[0])
        title = ", ".join(
            part
            for part in (
                _named(key[0]),
                *(one.replace("_", " ") for one in key[1:2]),
                *(f"branch {one}" for one in key[2:] if one),
            )
            if part
        )
        for name, bound in _BOUNDS:
            if was.get(name) != is_.get(name):
                yield f"{words} of {title}: {bound} {_told(was.get(name), unit)}, now {_told(is_.get(name), unit)}"
        if was and is_ and was.get("decision") != is_.get("decision"):
            yield f"decision rule of {title}: {_told(was['decision'], '')}, now {_told(is_['decision'], '')}"
