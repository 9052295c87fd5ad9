"""Finds the row of insulation levels that belongs to a unit's ratings, and explains where none does."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from schedules.rules.errors import BadRatings
from schedules.rules.rulepack import Level, LevelTable, RulePack

_SAME = 1e-6


@dataclass(frozen=True, slots=True)
class FoundLevel:
    """The row that applies, where it stands, the impulse level where it is certain [kV], and what to tell."""

    pack: RulePack
    table: LevelTable
    row: Level
    lightning_impulse_kv: float | None
    notes: tuple[str, ...]
    warnings: tuple[str, ...]


def find_level(ratings: Mapping[str, Any], packs: Sequence[RulePack], others: Sequence[RulePack] = ()) -> FoundLevel:
    """Return the row of insulation levels for these ratings.

    Parameters
    ----------
    ratings : Mapping[str, Any]
        Read ratings; ``highest_voltage_kv`` (or ``rated_voltage_kv``, or a ``lightning_impulse_kv`` that only one row
        has), and as far as stated ``lightning_impulse_kv``, ``power_frequency_kv``, ``insulation_series``,
        ``frequency_hz``.
    packs : Sequence[RulePack]
        The packs that apply, in the order in which they are preferred; at least one holds a table.
    others : Sequence[RulePack]
        Further packs for this equipment: a warning names one that has the very row which the others lack.

    Returns
    -------
    FoundLevel
        The row; all its levels come from one row block.

    Raises
    ------
    BadRatings
        A voltage above every row, an impulse level that is not in the row of that voltage, a power-frequency level
        below the row's, or too little stated to tell rows apart.

    Notes
    -----
    A voltage between two rows takes the next row above, with a warning. Where a voltage stands in two tables, the
    series stated decides, then the impulse level, then the frequency that a table is usual for.
    """
    tables = [(pack, table) for pack in packs for table in pack.tables if _wanted_series(ratings, table)]
    if not tables:
        raise BadRatings(
            "insulation_series", "is in no table of the chosen documents", "leave it out or name another document"
        )
    voltage = _voltage(ratings, [table for _, table in tables])
    pack, table = min(tables, key=lambda pair: _preference(pair[1], voltage, ratings))
    above = [row for row in table.rows if row.highest_voltage_kv >= voltage - _SAME]
    if not above:
        highest = table.rows[-1].highest_voltage_kv
        raise BadRatings(
            "highest_voltage_kv",
            f"is {voltage:g} kV, above every row of {pack.document} {table.title} (up to {highest:g} kV)",
            "correct it or name another document in standards",
        )
    block = [row for row in above if row.highest_voltage_kv == above[0].highest_voltage_kv]
    return _choose(pack, table, block, voltage, ratings, _with_row(others, voltage))


def _wanted_series(ratings: Mapping[str, Any], table: LevelTable) -> bool:
    return ratings.get("insulation_series") in (None, table.series)


def _voltage(ratings: Mapping[str, Any], tables: Sequence[LevelTable]) -> float:
    for key in ("highest_voltage_kv", "rated_voltage_kv"):
        if key in ratings:
            return float(ratings[key])
    impulse = ratings["lightning_impulse_kv"]
    rows = sorted({row.highest_voltage_kv for table in tables for row in table.rows if _has(row, impulse)})
    if len(rows) == 1:
        return rows[0]
    found = (
        f"the rows of {_listed(rows)} kV have a lightning impulse level of {impulse:g} kV"
        if rows
        else "no row has this BIL"
    )
    raise BadRatings("highest_voltage_kv", f"is missing, and {found}", "give the highest voltage in kV")


def _has(row: Level, impulse: float) -> bool:
    return any(abs(one - impulse) < _SAME for one in row.lightning_impulse_kv)


def _preference(table: LevelTable, voltage: float, ratings: Mapping[str, Any]) -> tuple[bool, bool, bool, bool]:
    rows = [row for row in table.rows if abs(row.highest_voltage_kv - voltage) < _SAME]
    impulse, level = ratings.get("lightning_impulse_kv"), ratings.get("power_frequency_kv")
    fits = [
        row
        for row in rows
        if (impulse is None or _has(row, impulse)) and (level is None or abs(row.power_frequency_kv - level) < _SAME)
    ]
    covers = table.rows[-1].highest_voltage_kv >= voltage
    return (not covers, not rows, not fits, table.frequency_hz != ratings.get("frequency_hz", table.frequency_hz))


def _with_row(packs: Sequence[RulePack], voltage: float) -> str:
    """Return the documents that have a row of this very voltage, for a sentence; empty where none has."""
    rows = {pack.document: [row.highest_voltage_kv for table in pack.tables for row in table.rows] for pack in packs}
    return ", ".join(document for document, found in rows.items() if any(abs(one - voltage) < _SAME for one in found))


def _choose(
    pack: RulePack,
    table: LevelTable,
    block: Sequence[Level],
    voltage: float,
    ratings: Mapping[str, Any],
    elsewhere: str,
) -> FoundLevel:
    class_kv = block[0].highest_voltage_kv
    warnings = []
    if abs(class_kv - voltage) >= _SAME:
        warnings.append(
            f"{voltage:g} kV is no row of {pack.document}, {table.title}; the next row above, {class_kv:g} kV, is used."
            + (f" {voltage:g} kV is a row of {elsewhere}: name it in standards to use that." if elsewhere else "")
        )
    impulse: float | None = ratings.get("lightning_impulse_kv")
    rows = [row for row in block if impulse is None or _has(row, impulse)]
    if not rows and impulse is not None:
        raise _impulse_refused(pack, table, block, impulse)
    rows = _by_power_frequency(pack, rows, ratings.get("power_frequency_kv"))
    if len({row.power_frequency_kv for row in rows}) > 1:
        levels = sorted({one for row in rows for one in row.lightning_impulse_kv})
        if impulse is None:
            raise BadRatings(
                "lightning_impulse_kv",
                "is missing",
                f"give {_listed(levels, 'or')} kV: the rows of {class_kv:g} kV differ",
            )
        others = _listed([row.power_frequency_kv for row in rows[1:]])
        warnings.append(
            f"The row of {class_kv:g} kV and {impulse:g} kV BIL also stands with {others} kV; "
            f"{rows[0].power_frequency_kv:g} kV is used. State power_frequency_kv to choose."
        )
    found, notes = impulse, []
    levels = sorted({one for row in rows for one in row.lightning_impulse_kv})
    if found is None and len(levels) == 1:
        found = levels[0]
    elif found is None and levels:
        notes.append(
            f"The lightning impulse level is not stated; the row of {class_kv:g} kV has {_listed(levels, 'or')} kV."
        )
    return FoundLevel(pack, table, rows[0], found, tuple(notes), tuple(warnings))


def _by_power_frequency(pack: RulePack, rows: Sequence[Level], stated: float | None) -> list[Level]:
    if stated is None:
        return list(rows)
    same = [row for row in rows if abs(row.power_frequency_kv - stated) < _SAME]
    lowest = min(row.power_frequency_kv for row in rows)
    if not same and stated < lowest:
        raise BadRatings(
            "power_frequency_kv",
            f"is {stated:g} kV, below the {lowest:g} kV of the row in {pack.document}",
            "correct it, or leave it out to take the row's",
        )
    return same or [max(rows, key=lambda row: row.power_frequency_kv)]


def _impulse_refused(pack: RulePack, table: LevelTable, block: Sequence[Level], impulse: float) -> BadRatings:
    class_kv = block[0].highest_voltage_kv
    has = sorted({one for row in block for one in row.lightning_impulse_kv})
    elsewhere = sorted({row.highest_voltage_kv for row in table.rows if _has(row, impulse)})
    mend = f"give {_listed(has, 'or')} kV" if has else "leave it out"
    if elsewhere:
        mend += f", or correct the highest voltage ({impulse:g} kV stands in the row of {_listed(elsewhere, 'or')} kV)"
    place = f"the row of {class_kv:g} kV in {pack.document}, {table.title}"
    problem = f"{impulse:g} kV is not in {place}, which has {_listed(has) or 'none'}"
    return BadRatings("lightning_impulse_kv", problem, mend)


def _listed(numbers: Sequence[float], word: str = "and") -> str:
    texts = [f"{number:g}" for number in numbers]
    return f" {word} ".join(([", ".join(texts[:-1])] if texts[1:] else []) + texts[-1:])
