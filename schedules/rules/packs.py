"""Rule packs: one TOML file for one document and edition, read into frozen dataclasses."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from schedules.rules.conditions import Condition
from schedules.rules.errors import FormulaError, PackError
from schedules.rules.formats import brought_up
from schedules.rules.formulas import Formula, read_formula
from schedules.rules.meaning import check_meaning
from schedules.rules.rulepack import (
    AltitudeRule,
    CriterionRule,
    Level,
    LevelTable,
    NotPlanned,
    ProcedureRule,
    Reason,
    RetestRule,
    RulePack,
    StageRule,
    ValueRule,
)
from schedules.rules.structure import check_structure

SHIPPED = Path(__file__).parent / "rulepacks"
_LARGEST_BYTES = 2_000_000


def read_pack(content: bytes, file: str) -> RulePack:
    """Read one pack, refusing it whole where any part of it cannot be used.

    Parameters
    ----------
    content : bytes
        The TOML text, UTF-8.
    file : str
        Name of the file; without its ending it is the name of the pack.

    Returns
    -------
    RulePack
        The pack with every formula read and checked.

    Raises
    ------
    PackError
        Not TOML, too large, a key missing, unknown or of a wrong type, a formula that cannot be used, or parts that
        contradict each other. It names the file, the path of the key and the mend.
    """
    if len(content) > _LARGEST_BYTES:
        raise PackError(file, "file", f"has {len(content)} bytes", f"keep a pack under {_LARGEST_BYTES} bytes")
    try:
        tree: Mapping[str, Any] = tomllib.loads(content.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as fault:
        raise PackError(file, "file", f"is not TOML: {fault}", "correct the place named") from None
    tree = brought_up(tree)
    check_structure(tree, file)
    pack = pack_of(tree, file, hashlib.sha256(content).hexdigest())
    check_meaning(pack, file)
    return pack


@lru_cache(maxsize=4)
def load_packs(directory: Path = SHIPPED) -> tuple[RulePack, ...]:
    """Read every pack of a directory, in the order of their names; the shipped ones are read once per process.

    Parameters
    ----------
    directory : Path
        Where the ``*.toml`` files lie.

    Returns
    -------
    tuple[RulePack, ...]
        The packs.

    Raises
    ------
    PackError
        Any of them cannot be used.

    Examples
    --------
    >>> "IEEE C37.20.3" in {pack.document for pack in load_packs()}
    True
    """
    return tuple(read_pack(path.read_bytes(), path.name) for path in sorted(directory.glob("*.toml")))


def pack_of(tree: Mapping[str, Any], file: str, sha256: str) -> RulePack:
    """Return the pack that a tree of the right structure holds, its formulas read.

    Parameters
    ----------
    tree : Mapping[str, Any]
        What `check_structure` has let pass.
    file, sha256 : str
        Name of the file and digest of its bytes.

    Returns
    -------
    RulePack
        The pack, its meaning not yet checked.

    Raises
    ------
    PackError
        A formula cannot be read; the message names its key.
    """
    source, applies, rounding = tree["source"], tree["applies"], tree["rounding"]
    return RulePack(
        name=file.removesuffix(".toml"),
        document=source["document"],
        edition=source["edition"],
        title=source["title"],
        aliases=tuple(source["aliases"]),
        transcribed_by=source["transcribed_by"],
        confirmed_by=source["confirmed_by"],
        remarks=source["remarks"],
        equipment=tuple(applies["equipment"]),
        default_for=tuple(applies["default_for"]),
        builds_on=tuple(applies["builds_on"]),
        from_kv=float(applies["from_kv"]),
        to_kv=float(applies["to_kv"]),
        own_figures_for=tuple(applies["own_figures_for"]),
        altitude_reference=applies["altitude_reference"],
        not_planned=tuple(NotPlanned(one["test"], one["clause"], one["confidence"]) for one in applies["not_planned"]),
        step_kv=float(rounding["step_kv"]),
        floor_step_kv=float(rounding["floor_step_kv"]),
        rounding=_reason(rounding, "rounding"),
        tables=tuple(_table(table) for table in tree["levels"]),
        values=tuple(_value(entry, f"values[{index}]", file) for index, entry in enumerate(tree["values"])),
        procedures=tuple(
            _procedure(entry, f"procedures[{index}]", file) for index, entry in enumerate(tree["procedures"])
        ),
        sha256=sha256,
        known_as=_known_as(source, file.removesuffix(".toml")),
    )


def plain_name(text: str) -> str:
    """Return a document's name in the form in which names are compared.

    Parameters
    ----------
    text : str
        As the order writes it.

    Returns
    -------
    str
        Upper case, single spaces, plain hyphens.

    Examples
    --------
    >>> plain_name(" iec  60076–11")
    'IEC 60076-11'
    """
    return " ".join(text.upper().replace("–", "-").split())


def _known_as(source: Mapping[str, Any], name: str) -> frozenset[str]:
    document, edition = source["document"], source["edition"]
    forms = (document, *source["aliases"], f"{document}:{edition}", f"{document}-{edition}", name)
    return frozenset(plain_name(form) for form in forms)


def _when(entry: Mapping[str, Any]) -> tuple[Condition, ...]:
    return tuple(Condition(one["rating"], tuple(one["is"])) for one in entry["when"])


def _reason(entry: Mapping[str, Any], row: str) -> Reason:
    return Reason(entry["clause"], entry["confidence"], row)


def _table(entry: Mapping[str, Any]) -> LevelTable:
    rows = tuple(
        Level(
            highest_voltage_kv=float(row["highest_voltage_kv"]),
            power_frequency_kv=float(row["power_frequency_kv"]),
            lightning_impulse_kv=tuple(float(one) for one in row["lightning_impulse_kv"]),
            columns={column: float(row[column]) for column in entry["columns"]},
            reason=_reason(row, f"levels.{entry['name']}[{index}]"),
        )
        for index, row in enumerate(entry["rows"])
    )
    return LevelTable(entry["name"], entry["title"], entry["series"], float(entry["frequency_hz"]), rows)


def _formula(text: str, key: str, file: str) -> Formula:
    try:
        return read_formula(text)
    except FormulaError as fault:
        raise PackError(file, key, str(fault), "write plain arithmetic over ratings and values") from None


def _value(entry: Mapping[str, Any], key: str, file: str) -> ValueRule:
    formula = _formula(entry["formula"], f"{key}.formula", file)
    return ValueRule(entry["name"], _when(entry), formula, _reason(entry, key))


def _row(key: str) -> str:
    """Return the row that a key's path belongs to: the procedure as a whole."""
    return ".".join(key.split(".")[:1])


def _criterion(entry: Mapping[str, Any], key: str, file: str) -> CriterionRule:
    names = [name for name in ("min", "max", "nominal", "tolerance_pct") if name in entry]
    bounds = {name: _formula(entry[name], f"{key}.{name}", file) for name in names}
    return CriterionRule(entry["quantity"], entry["stage"], bounds, entry["judges"], _reason(entry, _row(key)))


def _stage(entry: Mapping[str, Any], key: str, file: str) -> StageRule:
    return StageRule(
        name=entry["name"],
        voltage_kv=_formula(entry["voltage_kv"], f"{key}.voltage_kv", file),
        hold_s=_formula(entry["hold_s"], f"{key}.hold_s", file) if "hold_s" in entry else None,
        tolerance_pct=float(entry["tolerance_pct"]),
        polarity=entry.get("polarity", ""),
        wave=entry.get("wave", ""),
        reason=_reason(entry, _row(key)),
    )


def _optional(entry: Mapping[str, Any], name: str, key: str, file: str) -> Formula | None:
    return _formula(entry[name], f"{key}.{name}", file) if name in entry else None


def _retest(entry: Mapping[str, Any], key: str) -> RetestRule:
    return RetestRule(entry["cause"], float(entry["level_pct"]), entry["words"], _reason(entry, key))


def _altitude(entry: Mapping[str, Any], key: str) -> AltitudeRule | None:
    stated = entry.get("altitude")
    return AltitudeRule(stated["use"], stated["words"], _reason(stated, key)) if stated is not None else None


def _procedure(entry: Mapping[str, Any], key: str, file: str) -> ProcedureRule:
    def each(name: str) -> list[tuple[Mapping[str, Any], str]]:
        return [(one, f"{key}.{name}[{index}]") for index, one in enumerate(entry[name])]

    return ProcedureRule(
        name=entry["name"],
        when=_when(entry),
        kind=entry["kind"],
        title=entry["title"],
        test_class=entry["class"],
        choice=entry["choice"],
        order=entry["order"],
        because=entry["because"],
        branches=entry["branches"],
        equal=tuple(entry["equal"]),
        retest=tuple(_retest(one, key) for one in entry["retest"]),
        arrangement=entry["arrangement"],
        frequency_hz=_formula(entry["frequency_hz"], f"{key}.frequency_hz", file),
        reference_temperature_c=_optional(entry, "reference_temperature_c", key, file),
        needs=tuple(entry["needs"]),
        report=tuple(entry["report"]),
        threshold_pc=_optional(entry, "threshold_pc", key, file),
        stages=tuple(_stage(one, place, file) for one, place in each("stages")),
        criteria=tuple(_criterion(one, place, file) for one, place in each("criteria")),
        setup_checks=tuple(_criterion(one, place, file) for one, place in each("setup_checks")),
        altitude=_altitude(entry, key),
        acceptance=entry.get("acceptance", ""),
        compared_with=entry.get("compared_with", ""),
        reason=_reason(entry, key),
    )
