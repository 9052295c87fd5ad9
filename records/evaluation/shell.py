"""The shell contract of `evaluate`: files in, findings and exit status out (pure but for reading the files named)."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from records.evaluation.channels import read_any_set
from records.evaluation.evaluating import evaluate
from records.evaluation.findings import Evaluation
from records.evaluation.joining import RecordsDoNotJoin
from records.evaluation.setups import BadSetup, Setup, parse_setup
from records.evaluation.step import BadStep, Step, parse_step
from records.readers.columns import ColumnMap
from records.readers.formats import SNIFFED_BYTES, format_of, is_configuration
from records.readers.isolation import read_in_child
from records.readers.reading import read_record
from records.readers.recording import Recording
from records.readers.refusals import RecordRefused
from records.readers.wanted import Wanted

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
    pairs = paired(records)
    recordings = [_recording(pair, mapping, parsed.kind, is_one_of_several=len(pairs) > 1) for pair in pairs]
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


def paired(paths: Sequence[str]) -> list[tuple[str, str | None]]:
    """Return the files to read, each with the other file of its pair where it is one of two.

    Parameters
    ----------
    paths : sequence of str
        As given. The configuration of a COMTRADE record takes the file of the same name but for its ending, or the one
        file that is left, or the next one.

    Returns
    -------
    list of (str, str or None)
        In the order given.
    """
    configurations = [path for path in paths if _is_configuration(path)]
    left = [path for path in paths if path not in configurations]
    pairs: list[tuple[str, str | None]] = []
    for path in configurations:
        stem = Path(path).with_suffix("")
        place = paths.index(path)
        named = [other for other in left if Path(other).with_suffix("") == stem]
        after = [other for other in left if paths.index(other) > place]
        other = next(iter(named or after or left), None)
        pairs.append((path, other))
        left = [rest for rest in left if rest != other]
    return sorted([*pairs, *((path, None) for path in left)], key=lambda pair: paths.index(pair[0]))


def _is_configuration(path: str) -> bool:
    return is_configuration(_first_bytes(path))


def _first_bytes(path: str) -> bytes:
    try:
        with Path(path).open("rb") as stream:
            return stream.read(SNIFFED_BYTES)
    except OSError:
        return b""  # reading it says what is wrong with it


def _recording(
    pair: tuple[str, str | None], mapping: ColumnMap | None, kind: str, *, is_one_of_several: bool
) -> Recording:
    path, other = pair
    is_text = format_of(_first_bytes(path)).name == "text in columns"
    reader = read_record if is_text and other is None else read_in_child  # libraries of other formats are not trusted

    def read(wanted: Wanted) -> Recording:
        return reader(path, columns=mapping, wanted=wanted, companion=other)

    try:
        return read_any_set(kind, read, is_one_of_several=is_one_of_several)
    except RecordRefused as refusal:
        where = f"row {refusal.row}: " if refusal.row and f"Row {refusal.row}" not in refusal.message else ""
        mend = ' Use --columns COLUMNS.json, such as {"time_s": "T", "voltage_kv": {"column": "CH1", "unit": "V"}}.'
        is_mapping = type(refusal).__name__ == "MappingNeeded"
        raise BadInput(_line(path, f"{where}{refusal.message}{mend if is_mapping else ''}")) from refusal
    except OSError as fault:
        raise BadInput(_line(path, f"cannot be read ({fault.strerror}). Check the name.")) from fault
