"""Checks the structure of a pack against its JSON Schema, in words that name the key and the mend."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from functools import lru_cache
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError

from schedules.rules.errors import PackError

SCHEMA_FILE = Path(__file__).with_name("rulepack.schema.json")
_TYPES = {
    "string": "a text",
    "number": "a number",
    "integer": "a whole number",
    "array": "a list",
    "object": "a table",
}


@lru_cache(maxsize=1)
def pack_schema() -> dict[str, Any]:
    """Return the JSON Schema of rule packs.

    Returns
    -------
    dict[str, Any]
        The schema, draft 2020-12.

    Examples
    --------
    >>> pack_schema()["title"]
    'Rule pack of Withstand'
    """
    schema: dict[str, Any] = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))
    return schema


@lru_cache(maxsize=1)
def _validator() -> Draft202012Validator:
    return Draft202012Validator(pack_schema())


def check_structure(tree: Mapping[str, Any], file: str) -> None:
    """Refuse a pack whose keys or types are not those of the format.

    Parameters
    ----------
    tree : Mapping[str, Any]
        The pack as TOML gives it.
    file : str
        Its file, for the message.

    Raises
    ------
    PackError
        The first fault from the top of the file: a key missing, unknown, of a wrong type, or a wrong value.
    """
    for key, value in _numbers(tree, ""):
        if not math.isfinite(value):
            raise PackError(file, key, "is not finite", "give a finite number")
    faults = sorted(
        _validator().iter_errors(tree), key=lambda fault: ([str(part) for part in fault.absolute_path], fault.message)
    )
    if faults:
        raise _told(faults[0], file)
    for index, table in enumerate(tree["levels"]):
        _check_columns(table, f"levels[{index}]", file)


def _check_columns(table: Mapping[str, Any], place: str, file: str) -> None:
    fixed = {"highest_voltage_kv", "power_frequency_kv", "lightning_impulse_kv", "clause", "confidence"}
    wanted = fixed | set(table["columns"])
    for index, row in enumerate(table["rows"]):
        for key in sorted(set(row) ^ wanted):
            fault = "is missing" if key in wanted else "is not among the table's columns"
            raise PackError(
                file, f"{place}.rows[{index}].{key}", fault, f"let columns and rows of {table['name']} agree"
            )


def _numbers(part: object, place: str) -> Iterator[tuple[str, float]]:
    if isinstance(part, float):
        yield place, part
    elif isinstance(part, Mapping):
        for key, value in part.items():
            yield from _numbers(value, f"{place}.{key}".lstrip("."))
    elif isinstance(part, list):
        for index, value in enumerate(part):
            yield from _numbers(value, f"{place}[{index}]")


def _path(fault: ValidationError) -> str:
    path = ""
    for part in fault.absolute_path:
        path += f"[{part}]" if isinstance(part, int) else f".{part}"
    return path.lstrip(".")


def _told(fault: ValidationError, file: str) -> PackError:
    path = _path(fault)
    prefix = f"{path}." if path else ""
    if fault.validator == "required":
        key = next(name for name in fault.validator_value if name not in fault.instance)
        return PackError(file, f"{prefix}{key}", "is missing", f"add {key}; what does not apply stays empty")
    if fault.validator == "additionalProperties" and fault.validator_value is False:
        known = fault.schema["properties"]
        key = next(name for name in fault.instance if name not in known)
        near = get_close_matches(key, known, n=1)
        return PackError(
            file, f"{prefix}{key}", "is not a key of the format", f"did you mean {near[0]}?" if near else "leave it out"
        )
    if fault.validator == "type":
        return PackError(
            file, path, f"is not {_TYPES[str(fault.validator_value)]}", f"write {_TYPES[str(fault.validator_value)]}"
        )
    if fault.validator == "enum":
        return PackError(file, path, f"{fault.instance!r} may not stand here", f"write one of {fault.validator_value}")
    if fault.validator == "not":
        return PackError(file, path, "does not belong to this kind of row", "leave it out")
    return PackError(file, path, fault.message[:200], "write a value that rulepack.schema.json allows")
