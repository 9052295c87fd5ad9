"""What a record does not hold and people state on the run sheet: a table by kind, with units and what can be."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from records.evaluation.conductors import CONDUCTORS

Into = Literal["setup", "step"]


@dataclass(frozen=True)
class Asked:
    """One value that is asked for.

    Attributes
    ----------
    name : str
        As set-up or step know it, with its unit.
    words : str
        As people are asked.
    into : str
        ``setup`` for a condition of this test, ``step`` for what the plan may state and does not.
    unit : str
        As it is shown; empty for a bare number, a choice or a text.
    low, high : float
        Values outside cannot be [unit]; both ends can. They catch slips of the pen: common practice, no source.
    is_whole : bool
        Whether a fraction is refused.
    choices : tuple of (str, str)
        The texts that are allowed, each with its words; then it is no number.
    is_flag, is_text : bool
        Whether it is yes or no, or a free text.
    is_needed : bool
        Whether nothing can be judged without it, unless the record or the plan states it.
    unless : str
        Key of the step that makes this needless where the plan states it; the value itself does so too.
    unless_words : str
        How its number is said, with a place for it.
    hint : str
        What helps to answer.
    """

    name: str
    words: str
    into: Into = "setup"
    unit: str = ""
    low: float = -math.inf
    high: float = math.inf
    is_whole: bool = False
    choices: tuple[tuple[str, str], ...] = ()
    is_flag: bool = False
    is_text: bool = False
    is_needed: bool = False
    unless: str = ""
    unless_words: str = "{:g}"
    hint: str = ""

    def refusal(self, value: Any) -> str:
        """Return in words why a value cannot be, with the mend; empty where it can."""
        if self.is_flag:
            return "" if isinstance(value, bool) else f"{self.words}: say yes or no."
        if self.is_text:
            return "" if isinstance(value, str) and value.strip() else f"{self.words}: write a few words."
        if self.choices:
            known = [name for name, _ in self.choices]
            return "" if value in known else f"{self.words}: choose one of {', '.join(known)}."
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            return f"{self.words}: give a number."
        if self.is_whole and value != int(value):
            return f"{self.words}: {value:g} is no whole number."
        if not self.low <= value <= self.high:
            return f"{self.words}: {value:g} {self.unit}".rstrip() + (
                f" cannot be. Give a number from {self.low:g} to {self.high:g}; check the unit."
            )
        return ""


_BAY = "Leave it empty where it is the temperature of the bay that was noted."
_MATERIAL = Asked(
    "material",
    "Material of the winding",
    "step",
    choices=tuple((name, conductor.title) for name, conductor in CONDUCTORS.items()),
    unless="temperature_constant_c",
    unless_words="with the constant {:g} °C",
    hint="Its constant corrects for temperature.",
)
_REFERENCE = Asked("reference_temperature_c", "Reference temperature", "step", "°C", -50.0, 250.0)
_OF_WINDING = (
    Asked("temperature_c", "Temperature of the winding", unit="°C", low=-60.0, high=300.0, hint=_BAY),
    _MATERIAL,
    _REFERENCE,
)
_OF_ELEMENTS = (
    Asked("series_elements", "Elements in series", "step", low=2.0, high=10_000.0, is_whole=True),
    Asked("parallel_elements", "Elements in parallel in each group", "step", low=2.0, high=10_000.0, is_whole=True),
    Asked("internal_fuses", "Each element has a fuse of its own", "step", is_flag=True),
    Asked(
        "capacitance_before_uf",
        "Capacitance before the tests",
        unit="µF",
        low=1e-9,
        high=1e6,
        hint="Leave it empty where a run before or a file of its own tells it.",
    ),
)

ASKED: Mapping[str, tuple[Asked, ...]] = {
    "partial_discharge": (
        Asked("gating_reason", "Why pulses were gated", is_text=True, hint="Only where the detector left pulses out."),
    ),
    "frequency_response": (
        Asked("reference_ohm", "Reference impedance", "step", "Ω", 1e-3, 1e6, hint="Of a file with reflections."),
        Asked(
            "termination_ohm",
            "Termination",
            "step",
            "Ω",
            1e-3,
            1e6,
            hint="Of a file with the transfer in dB, into which it was measured.",
        ),
    ),
    "winding_resistance": _OF_WINDING,
    "insulation_resistance": (
        Asked("test_voltage_kv", "Test voltage", unit="kV", low=0.01, high=1000.0, hint="Direct voltage, as set."),
        Asked(
            "leakage_mohm",
            "Set-up without the unit",
            unit="MΩ",
            low=1e-3,
            high=1e9,
            hint="What lies beside the unit is taken out.",
        ),
        Asked("temperature_c", "Temperature of the insulation", unit="°C", low=-60.0, high=300.0, hint=_BAY),
        Asked(
            "voltage_applied_s",
            "Voltage applied at",
            unit="s",
            low=-86_400.0,
            high=604_800.0,
            hint="On the record's axis of time; empty where the record begins then.",
        ),
        _REFERENCE,
    ),
    "dissipation_factor": _OF_ELEMENTS,
    "capacitance": _OF_ELEMENTS,
    "inductance": (
        *_OF_WINDING,
        Asked("rated_current_a", "Rated current", "step", "A", 1e-3, 1e6),
        Asked("dc_resistance_ohm", "Direct-current resistance of a phase", "step", "Ω", 1e-9, 1e9),
        Asked("dc_resistance_temperature_c", "It was measured at", "step", "°C", -60.0, 300.0),
        Asked("phases", "Phases that the loss is of", "step", low=1.0, high=3.0, is_whole=True),
    ),
    "temperature_rise": (
        Asked(
            "shutdown_s",
            "Moment of shutdown",
            unit="s",
            low=-86_400.0,
            high=604_800.0,
            is_needed=True,
            hint="On the record's axis of time: when the current was cut off. 0 where the record begins then.",
        ),
        Asked("ambient_c", "Temperature of the surroundings at shutdown", unit="°C", low=-60.0, high=100.0, hint=_BAY),
        Asked(
            "cold_resistance_ohm",
            "Cold resistance",
            unit="Ω",
            low=1e-9,
            high=1e9,
            hint="Leave it empty where an approved run of the winding resistance lends it: choose it below.",
        ),
        Asked("cold_temperature_c", "Temperature of the cold resistance", unit="°C", low=-60.0, high=300.0),
        _MATERIAL,
    ),
}


_ENDS: Mapping[str, str] = {"begin_s": "held from", "end_s": "held until"}
_STAGED = frozenset({"partial_discharge"})  # kinds whose record may be a list of pulses that shows no voltage


def asked_of(kind: str, stages: Mapping[str, str] | None = None) -> tuple[Asked, ...]:
    """Return what is asked of a kind of step; nothing of most.

    Parameters
    ----------
    kind : str
        Kind of step.
    stages : mapping of str to str, optional
        Names of its stages and their words, where it asks when each was held.

    Returns
    -------
    tuple of Asked
        In the order in which people are asked.
    """
    staged = stages or {} if kind in _STAGED else {}
    times = tuple(_stage_time(name, words, end) for name, words in staged.items() for end in _ENDS)
    return ASKED.get(kind, ()) + times


def _stage_time(name: str, words: str, end: str) -> Asked:
    hint = "On the record's axis of time; only for a list of pulses whose voltage no file shows."
    return Asked(f"{name}.{end}", f"{words} {_ENDS[end]}", unit="s", low=-86_400.0, high=604_800.0, hint=hint)


def stages_named(values: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the stages whose times are among stated values, in order of time; a database keeps no order of names."""
    named = {name.rpartition(".")[0]: value for name, value in values.items() if name.rpartition(".")[2] in _ENDS}
    begins = {stage: values.get(f"{stage}.begin_s", value) for stage, value in named.items()}
    return tuple(sorted(begins, key=lambda stage: (begins[stage], stage)))


def unpaired(values: Mapping[str, Any]) -> list[str]:
    """Return in words which stages have one end of their time only, or the end before the beginning."""
    lacks = []
    for stage in stages_named(values):
        begin, end = (values.get(f"{stage}.{name}") for name in _ENDS)
        if begin is None or end is None:
            lacks.append(f"Of the stage “{stage}” state both ends of the time, or neither.")
        elif end <= begin:
            lacks.append(f"The stage “{stage}” cannot end at {end:g} s and begin at {begin:g} s. Exchange the two.")
    return lacks


def as_setup(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return stated conditions as the set-up takes them: the times of stages together, all else by its name.

    Examples
    --------
    >>> as_setup({"prestress.begin_s": 16.0, "prestress.end_s": 24.0})
    {'stages': [{'name': 'prestress', 'begin_s': 16.0, 'end_s': 24.0}]}
    """
    stages = stages_named(values)
    found = {name: value for name, value in values.items() if name.rpartition(".")[0] not in stages}
    if stages:
        times = [{"name": stage, **{end: values[f"{stage}.{end}"] for end in _ENDS}} for stage in stages]
        found["stages"] = times
    return found


def of_step(kind: str) -> frozenset[str]:
    """Return the names of those values that complete the step."""
    return frozenset(one.name for one in asked_of(kind) if one.into == "step")
