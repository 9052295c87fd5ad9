"""Recordings written as text in the dialects that instruments use."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from os import PathLike
from pathlib import Path
from typing import TextIO

import numpy as np

from records.readers.recording import Recording
from records.readers.units import UNITS, factor_to


@dataclass(frozen=True)
class WrittenDialect:
    """How to write: separator, decimal mark, encoding, line end, units by channel, lines before the heads.

    Attributes
    ----------
    units : mapping of str to str
        Spelling of the unit by channel; missing ones are in the channel's own unit.
    heads : mapping of str to str
        Head by channel, without unit; missing ones are the plain word.
    digits : int
        Significant digits.
    """

    separator: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    line_end: str = "\n"
    units: dict[str, str] = field(default_factory=dict)
    heads: dict[str, str] = field(default_factory=dict)
    preamble: tuple[str, ...] = ()
    digits: int = 9


_WORDS = {
    "time_s": "Time",
    "voltage_kv": "Voltage",
    "charge_pc": "Charge",
    "current_ma": "Current",
    "resistance_ohm": "Resistance",
    "temperature_c": "Temperature",
    "ambient_c": "Ambient",
    "insulation_resistance_mohm": "Insulation resistance",
    "dissipation_factor": "Dissipation factor",
    "capacitance_uf": "Capacitance",
    "inductance_mh": "Inductance",
    "loss_w": "Loss",
    "current_a": "Current",
    "frequency_hz": "Frequency",
    "phase_deg": "Phase",
}


def csv_text(recording: Recording, dialect: WrittenDialect | None = None) -> str:
    """Return a recording as text in one dialect.

    Parameters
    ----------
    recording : Recording
        With channels whose names the reader knows.
    dialect : WrittenDialect, optional
        Comma and point by default.

    Returns
    -------
    str
        Preamble, heads with units, one row for each sample.

    Raises
    ------
    ValueError
        A unit is not known for its channel.
    """
    how = dialect or WrittenDialect()
    columns, heads = [], []
    has_time = len(recording.time_s) or not recording.rows
    axis = {"time_s": recording.time_s} if has_time else {}
    for channel, values in {**axis, **recording.channels}.items():
        unit = how.units.get(channel, UNITS.get(channel, "1"))
        factor = factor_to(channel, unit)
        if factor is None:
            raise ValueError(f"“{unit}” is no unit of {channel}.")
        columns.append(values / factor)
        word = how.heads.get(channel, _WORDS.get(channel))
        heads.append(f"{word} ({unit})" if word else channel)  # a channel's own name tells its unit
    stream = io.StringIO()
    np.savetxt(stream, np.column_stack(columns), fmt=f"%.{how.digits}g", delimiter="\x1f")
    rows = stream.getvalue().rstrip("\n").replace(".", how.decimal).replace("\x1f", how.separator)
    lines = [*how.preamble, how.separator.join(heads), *rows.split("\n")]
    return how.line_end.join(lines) + how.line_end


def write_csv(place: str | PathLike[str] | TextIO, recording: Recording, dialect: WrittenDialect | None = None) -> None:
    """Write a recording to a path, in the dialect's encoding, or to an open text stream."""
    text = csv_text(recording, dialect)
    if isinstance(place, str | PathLike):
        Path(place).write_bytes(text.encode((dialect or WrittenDialect()).encoding))
    else:
        place.write(text)
