"""Brings a pack that was written in an earlier version of the format to the present one; its file stays as it is."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from typing import Any

FORMAT = 2
_LISTED = {"clause": "not given: the pack is in format 1", "confidence": "common practice"}
_ALTITUDE = {
    "use": "none",
    "words": "The pack does not say how the altitude counts; its level is tested as it is.",
    "clause": "not given: the pack is in format 1",
    "confidence": "common practice",
}


def brought_up(tree: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return a pack in the present format.

    Parameters
    ----------
    tree : Mapping[str, Any]
        A pack as TOML gives it; nothing of it has been checked.

    Returns
    -------
    Mapping[str, Any]
        A pack of format 1 with what format 2 asks beside: a clause and a confidence for each test that is not planned,
        no word on the altitude, no document that it builds on, full waves without a sequence that accepts, nothing to
        compare with. Any other is returned as it is.

    Examples
    --------
    >>> brought_up({"format": 1, "applies": {"not_planned": ["leak test"]}})["applies"]["not_planned"][0]["test"]
    'leak test'
    >>> brought_up({"format": 7})
    {'format': 7}
    """
    if tree.get("format") != 1 or isinstance(tree["format"], bool):
        return tree
    made = copy.deepcopy(dict(tree)) | {"format": FORMAT}
    applies = made.get("applies")
    if isinstance(applies, dict):
        applies.setdefault("builds_on", [])
        listed = applies.get("not_planned")
        if isinstance(listed, list):
            applies["not_planned"] = [{"test": one, **_LISTED} if isinstance(one, str) else one for one in listed]
    for procedure in _tables(made.get("procedures")):
        kind = procedure.get("kind")
        if kind in ("power_frequency_withstand", "lightning_impulse"):
            procedure.setdefault("altitude", dict(_ALTITUDE))
        if kind == "lightning_impulse":
            procedure.setdefault("acceptance", "")
            for stage in _tables(procedure.get("stages")):
                stage.setdefault("wave", "full")
        if kind == "capacitance":
            procedure.setdefault("compared_with", "")
    return made


def _tables(found: Any) -> Iterator[dict[str, Any]]:
    yield from (one for one in (found if isinstance(found, list) else ()) if isinstance(one, dict))
