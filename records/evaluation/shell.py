"""The shell contract of `evaluate`: files in, findings and exit status out (pure but for reading the files named)."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from records.evaluation.channels import read_any_set
from records.evaluation.evaluating import evaluate
from records.evaluation.findings import Evaluation
from records.evaluation.joining import RecordsDoNotJoin
from records.evaluation.setups import BadSetup, Setup, parse_setup
from records.evaluation.step import BadStep, Step, parse_step
from records.evaluation.wording import told_apart
from records.readers.columns import ColumnMap
from records.readers.isolation import read_in_child
from records.readers.pairs import Given, paired
from records.readers.reading import read_record
from records.readers.recording import Recording
from records.readers.refusals import MappingNeeded, RecordRefused
from records.readers.units import UNITS

STATUS = {"conforms": 0, "does_not_conform": 1, "inconclusive": 3, "not_valid": 3}
_STEP_BYTES = 4 * 1024 * 1024


class BadInput(ValueError):
    """A file given to the command cannot be used: one line that names the file, the place and the mend."""


def evaluate_files(
    step: str, records: Sequence[str], *, setup: str | None = None, columns: str | None = None
) -> Evaluation:
    """Return the evaluation of the files named.

    Parameters
    ----------
    step : str
        Path of STEP.json.
    records : sequence of str
        Paths of the record, or of its parts.
    setup, columns : str, optional
        Paths of SETUP.json and COLUMNS.json.

    Returns
    -------
    Evaluation
        Frozen.

    Raises
    ------
    BadInput
        Any file is missing, unreadable or wrong; the message is one line.
    """
    parsed: Step = _parsed(step, parse_step)
    circuit: Setup = _parsed(setup, parse_setup) if setup else Setup()
    mapping: ColumnMap | None = _parsed(columns, ColumnMap.from_dict) if columns else None
    given = paired(records)
    read = [_recording(one, mapping, parsed.kind, is_one_of_several=len(given) > 1) for one in given]
    names = told_apart([f"“{file.path}”" for file in given])
    recordings = [replace(one, name=name) for one, name in zip(read, names, strict=True)]
    try:
        return evaluate(parsed, recordings, circuit)
    except BadStep as fault:
        raise BadInput(_line(step, str(fault))) from fault
    except RecordsDoNotJoin as fault:
        raise BadInput(_line(", ".join(records), str(fault))) from fault


def _line(path: str, words: str) -> str:
    return " ".join(f"{path}: {words}".split())


def _parsed(path: str, parse: Callable[[Any], Any]) -> Any:
    try:
        return parse(_json(path))
    except (BadStep, BadSetup, RecordRefused) as fault:
        raise BadInput(_line(path, str(fault))) from fault


def _refuse_constant(name: str) -> float:
    raise BadStep(f"{name} is not a number in JSON; state a finite number.")


def _json(path: str) -> Any:
    place = Path(path)
    try:
        if place.stat().st_size > _STEP_BYTES:
            raise BadInput(_line(path, "is larger than 4 MB, too large for this file; name the right one."))
        return json.loads(place.read_text(encoding="utf-8-sig"), parse_constant=_refuse_constant)
    except json.JSONDecodeError as fault:
        where = f"line {fault.lineno}, column {fault.colno}"
        raise BadInput(_line(path, f"{where}: not valid JSON ({fault.msg}). Correct it there.")) from fault
    except UnicodeDecodeError as fault:
        raise BadInput(_line(path, f"byte {fault.start}: not UTF-8. Save the file as UTF-8.")) from fault
    except RecursionError as fault:
        raise BadInput(_line(path, "is nested too deeply. Give a plain step.")) from fault
    except OSError as fault:
        raise BadInput(_line(path, f"cannot be read ({fault.strerror}). Check the name.")) from fault


def _recording(given: Given, mapping: ColumnMap | None, kind: str, *, is_one_of_several: bool) -> Recording:
    path, read = given.path, read_record if given.is_text else read_in_child  # other formats' libraries are not trusted
    try:
        return read_any_set(
            kind,
            lambda wanted: read(path, columns=mapping, wanted=wanted, companion=given.companion),
            is_one_of_several=is_one_of_several,
        )
    except RecordRefused as refusal:
        where = f"row {refusal.row}: " if refusal.row and f"Row {refusal.row}" not in refusal.message else ""
        mend = (
            f" Use --columns COLUMNS.json, such as {_example(refusal)}." if isinstance(refusal, MappingNeeded) else ""
        )
        raise BadInput(_line(path, f"{where}{refusal.message}{mend}")) from refusal
    except OSError as fault:
        raise BadInput(_line(path, f"cannot be read ({fault.strerror}). Check the name.")) from fault


def _example(need: MappingNeeded) -> str:
    """Return a mapping of the first channel that is missing to the first column that nobody has named, as JSON."""
    missing = need.preview.missing if need.preview else ()
    heads = [column.head for column in need.preview.unresolved] if need.preview else []
    channel, head = (missing[0], heads[0]) if missing and heads else ("voltage_kv", "CH1")
    return json.dumps({channel: {"column": head, "unit": UNITS.get(channel, "1")}}, ensure_ascii=False)
