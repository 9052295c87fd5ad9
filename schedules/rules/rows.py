"""The rows of a pack, each with a digest of its content, so that a person can confirm one by one."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from schedules.rules.packs import SHIPPED


@dataclass(frozen=True, slots=True)
class PackRow:
    """One row of a pack: its name there, what it says in words, clause, confidence, and the digest of its content."""

    key: str
    words: str
    clause: str
    confidence: str
    digest: str


def rows_of(content: bytes) -> tuple[PackRow, ...]:
    """Return the rows of a pack: each line of a table, each named value, each procedure, and the rounding.

    Parameters
    ----------
    content : bytes
        The TOML text of a pack that `read_pack` accepts.

    Returns
    -------
    tuple[PackRow, ...]
        In the order of the file; ``key`` is what the basis of a plan names as its row.

    Examples
    --------
    >>> rows = rows_of((SHIPPED / "agreed_discharge_practice.toml").read_bytes())
    >>> rows[0].key, rows[1].words
    ('rounding', 'charge_limit_pc = 100')
    """
    tree = tomllib.loads(content.decode("utf-8"))
    return tuple(_rows(tree))


def _rows(tree: Mapping[str, Any]) -> Iterator[PackRow]:
    rounding = tree["rounding"]
    yield _row("rounding", f"up to {rounding['step_kv']:g} kV, set in {rounding['floor_step_kv']:g} kV", rounding)
    for index, value in enumerate(tree["values"]):
        yield _row(f"values[{index}]", f"{value['name']} = {value['formula']}{_when(value)}", value)
    for table in tree["levels"]:
        for index, row in enumerate(table["rows"]):
            yield _row(f"levels.{table['name']}[{index}]", f"{table['title']}: {_level(row)}", row)
    for index, procedure in enumerate(tree["procedures"]):
        yield _row(f"procedures[{index}]", _procedure(procedure), procedure)


def _row(key: str, words: str, entry: Mapping[str, Any]) -> PackRow:
    content = json.dumps([key.partition("[")[0], entry], sort_keys=True, ensure_ascii=False)
    return PackRow(key, words, entry["clause"], entry["confidence"], hashlib.sha256(content.encode()).hexdigest())


def _when(entry: Mapping[str, Any]) -> str:
    said = [f"{one['rating']} {' to '.join(str(word) or 'not stated' for word in one['is'])}" for one in entry["when"]]
    return f" where {', '.join(said)}" if said else ""


def _level(row: Mapping[str, Any]) -> str:
    impulse = " / ".join(f"{one:g}" for one in row["lightning_impulse_kv"]) or "–"
    return f"{row['highest_voltage_kv']:g} kV: {row['power_frequency_kv']:g} kV, impulse {impulse} kV"


def _procedure(entry: Mapping[str, Any]) -> str:
    stages = [
        f"{one['name']} {one['voltage_kv']}" + (f" for {one['hold_s']} s" if "hold_s" in one else "")
        for one in entry["stages"]
    ]
    limits = [
        f"{one['quantity']} {' to '.join(one[name] for name in ('min', 'max', 'nominal') if name in one)}"
        for one in entry["criteria"]
    ]
    more = [
        f"{words} {told}"
        for words, told in (
            ("altitude", entry.get("altitude", {}).get("use", "")),
            ("series of impulses", entry.get("acceptance", "").replace("_", " ")),
            ("compared with", entry.get("compared_with", "").replace("_", " ")),
        )
        if told
    ]
    return "; ".join([entry["title"] + _when(entry), *stages, *limits, *more])


@lru_cache(maxsize=64)
def shipped_rows(name: str) -> tuple[PackRow, ...]:
    """Return the rows of a shipped pack by its name; none where no such pack ships.

    Parameters
    ----------
    name : str
        Name of the pack, which is that of its file without the ending.

    Returns
    -------
    tuple[PackRow, ...]
        As `rows_of`.

    Examples
    --------
    >>> shipped_rows("no_such_pack")
    ()
    """
    known = {path.stem: path for path in SHIPPED.glob("*.toml")}
    return rows_of(known[name].read_bytes()) if name in known else ()
