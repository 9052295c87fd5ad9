"""What part each of several files plays in one performance of a step: a closed list by kind, in one table.

A performance is judged over a set of files. Of a part that one file plays the newest counts, of a part that many play
all count; the order of the table is the order in which they are looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from records.evaluation.channels import read_any_set
from records.readers.recording import Recording
from records.readers.wanted import Wanted

File = TypeVar("File")


@dataclass(frozen=True)
class Part:
    """One part that a file may play.

    Attributes
    ----------
    name : str
        As it is stored.
    words : str
        As a person chooses it.
    short : str
        As findings say it behind the name of its file; empty says nothing.
    takes_many : bool
        Whether several files play it at once, as each impulse of a sequence does; else the newest counts.
    is_usual : bool
        Whether a file plays it where nobody says otherwise; one part of each kind.
    is_lendable : bool
        Whether a file of another run may play it, as the trace of a sister unit that others are compared with.
    channels : tuple of str
        What the file must hold; empty asks for one of the kind's own sets.
    states : mapping
        What the presence of such a file states of the step, by key as `kinds` names it.
    """

    name: str
    words: str
    short: str = ""
    takes_many: bool = False
    is_usual: bool = False
    is_lendable: bool = False
    channels: tuple[str, ...] = ()
    states: Mapping[str, Any] = field(default_factory=dict)


_WHOLE = (
    Part("record", "The record", is_usual=True),
    Part("continued", "A further part of the record, joined in order of time", takes_many=True),
)
_BEFORE_AND_AFTER = (
    Part("before", "Readings before the dielectric tests", "before the tests", is_lendable=True),
    Part(
        "after",
        "The readings; those after the dielectric tests where there are others before",
        "after the tests",
        is_usual=True,
    ),
)
_PHASES = (Part("phase_b", "Phase B", "phase B"), Part("phase_c", "Phase C", "phase C"))

PARTS: Mapping[str, tuple[Part, ...]] = {
    "power_frequency_withstand": _WHOLE,
    "partial_discharge": (
        *_WHOLE,
        Part(
            "voltage",
            "The voltage over the same time, where the record is a list of pulses",
            "the voltage",
            channels=("time_s", "voltage_kv"),
        ),
    ),
    "lightning_impulse": (Part("impulse", "One impulse of the sequence", takes_many=True, is_usual=True),),
    "frequency_response": (
        Part(
            "reference",
            "The trace to compare with",
            "to compare with",
            is_lendable=True,
            states={"compare": "reference"},
        ),
        Part("phase_a", "The sweep, or that of phase A", "phase A", is_usual=True),
        *_PHASES,
    ),
    "winding_resistance": (Part("phase_a", "The winding, or phase A", "phase A", is_usual=True), *_PHASES),
    "insulation_resistance": _WHOLE,
    "dissipation_factor": _BEFORE_AND_AFTER,
    "capacitance": _BEFORE_AND_AFTER,
    "inductance": (Part("phase_a", "The readings, or those of phase A", "phase A", is_usual=True), *_PHASES),
    "temperature_rise": _WHOLE,
}


# Kinds whose files are parts of one record, joined in order of time; of all others they are looked at side by side.
JOINED = frozenset(kind for kind, parts in PARTS.items() if any(part.name == "continued" for part in parts))


def usual_part(kind: str) -> Part:
    """Return the part that a file plays where nobody says otherwise."""
    return next(part for part in PARTS[kind] if part.is_usual)


def part_named(kind: str, name: str) -> Part | None:
    """Return a part by its name, the usual one where the name is empty, and None where the kind knows no such part."""
    if not name:
        return usual_part(kind)
    return next((part for part in PARTS[kind] if part.name == name), None)


def arranged(kind: str, files: Iterable[tuple[str, File]]) -> list[tuple[Part, File]]:
    """Return the files that count with their parts, in the order in which they are looked at.

    Parameters
    ----------
    kind : str
        Kind of step.
    files : iterable of (str, file)
        Name of the part (empty for the usual one) and the file, oldest first.

    Returns
    -------
    list of (Part, file)
        Of a part that one file plays only the newest.

    Examples
    --------
    >>> [file for _, file in arranged("capacitance", [("", "a.csv"), ("before", "b.csv"), ("after", "c.csv")])]
    ['b.csv', 'c.csv']
    """
    given = [(part_named(kind, name), file) for name, file in files]
    found: list[tuple[Part, File]] = []
    for part in PARTS[kind]:
        playing = [(part, file) for played, file in given if played == part]
        found += playing if part.takes_many else playing[-1:]
    return found


def stated_by(parts: Sequence[Part], count: int) -> dict[str, Any]:
    """Return what the parts that are played state of the step; one file alone states nothing, for it is judged."""
    return {key: value for part in parts if count > 1 for key, value in part.states.items()}


def read_part(kind: str, name: str, read: Callable[[Wanted], Recording]) -> Recording:
    """Return a file of a part that holds what this part needs.

    Parameters
    ----------
    kind, name : str
        Kind of step, and the part, empty for the usual one.
    read : callable
        What a record must hold to the recording; what it raises is passed on.

    Returns
    -------
    Recording
        With the part's channels, or with one of the kind's own sets.
    """
    part = part_named(kind, name)
    if part is None or not part.channels:
        return read_any_set(kind, read)
    return read(Wanted.of(part.channels))
