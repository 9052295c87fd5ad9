"""What each kind of step needs, in one table: quantities, channels, axis, stages and further keys.

A new kind begins with a row here and a module that `evaluating` names. The row alone decides what is parsed and what
of a record is looked at before the module sees it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from records.evaluation.conductors import CONDUCTORS
from records.evaluation.usual import USUAL
from records.readers.wanted import WANTED_BY_KIND

Shape = Literal["number", "whole", "text", "flag", "label", "numbers", "rows", "object"]


@dataclass(frozen=True)
class Key:
    """One key of a step, a stage or a criterion, parsed strictly.

    Attributes
    ----------
    name : str
        With its unit, as ``frequency_hz``.
    shape : str
        ``number``, ``whole`` (a whole number), ``text``, ``label`` (a text, or a whole number taken as one), ``flag``,
        ``numbers`` (a list), ``object`` or ``rows`` (a list of objects).
    above, at_least, below : float or None
        What a number, or each of the numbers, must keep.
    choices : tuple of str
        The texts that are allowed; none named allows any that is not empty.
    is_required : bool
        Whether a step without it is refused.
    keys : tuple of Key
        Of an ``object``, or of each of the ``rows``.
    """

    name: str
    shape: Shape = "number"
    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    choices: tuple[str, ...] = ()
    is_required: bool = False
    keys: tuple[Key, ...] = ()


@dataclass(frozen=True)
class StageNeed:
    """What the stages of a kind state beside their name.

    Attributes
    ----------
    keys : tuple of Key
        ``voltage_kv`` and ``hold_s`` among them where the kind has them.
    tolerances_pct : tuple of (float, float)
        Tolerance [%] where a stage states none, by the longest hold [s] that it counts for, in rising order.
    is_required : bool
        Whether a step without a stage is refused.
    """

    keys: tuple[Key, ...]
    tolerances_pct: tuple[tuple[float, float], ...]
    is_required: bool = True


@dataclass(frozen=True)
class Kind:
    """One kind of step.

    Attributes
    ----------
    name : str
        As plans write it.
    quantities : tuple of str
        What its criteria may name; the first carries the reason where a record cannot be looked at.
    channels : tuple of tuple of str
        Sets of channels, the axis among them; a record must have all of any one set.
    axis : str
        The channel that must rise from sample to sample (``time_s``, ``frequency_hz``); empty for a table of values.
    is_axis_strict : bool
        Whether equal values of the axis are refused.
    least_rows : int
        Fewest samples.
    must_move : tuple of str
        Channels of which not every sample may be the same.
    optional : tuple of str
        Further channels that are looked at where a record has them.
    stages : StageNeed or None
        None where the kind has no stages.
    keys, criterion_keys : tuple of Key
        Further keys of the step and of each criterion.
    must_judge_unit : bool
        Whether a step without a criterion that judges the unit is refused.
    """

    name: str
    quantities: tuple[str, ...]
    channels: tuple[tuple[str, ...], ...]
    axis: str = "time_s"
    is_axis_strict: bool = False
    least_rows: int = 3
    must_move: tuple[str, ...] = ()
    optional: tuple[str, ...] = ()
    stages: StageNeed | None = None
    keys: tuple[Key, ...] = ()
    criterion_keys: tuple[Key, ...] = ()
    must_judge_unit: bool = False


_VOLTAGE = Key("voltage_kv", above=0.0, is_required=True)
_HOLD = Key("hold_s", above=0.0, is_required=True)
_FREQUENCY = Key("frequency_hz", above=0.0)
_TRACE = (
    Key("frequency_hz", "numbers", above=0.0, is_required=True),
    Key("level_db", "numbers", is_required=True),
)
_REFERENCE_TEMPERATURE = Key("reference_temperature_c", above=-273.15, below=1000.0)
_TEMPERATURE = Key("temperature_c", above=-200.0, below=1000.0)
_OF_CONDUCTOR = (
    Key("material", "text", choices=tuple(CONDUCTORS)),
    Key("temperature_constant_c", above=200.0, below=1000.0),
)
_OF_ELEMENTS = (
    Key("series_elements", "whole", at_least=2),
    Key("parallel_elements", "whole", at_least=2),
    Key("internal_fuses", "flag"),
    Key("comparison", "text", choices=("records", "rows")),
    Key("capacitance_before_uf", above=0.0),
    Key("compared_with", "object", keys=(Key("title", "text", is_required=True),)),
)

_HELD = StageNeed(
    (_VOLTAGE, _HOLD),
    ((60.0, USUAL["held_voltage_tolerance_pct"].value), (math.inf, USUAL["held_voltage_tolerance_long_pct"].value)),
)
_IMPULSE = StageNeed(
    (
        _VOLTAGE,
        Key("polarity", "text", choices=("positive", "negative")),
        Key("wave", "text", choices=("full", "reduced", "chopped")),
        Key("impulses", "whole", at_least=1.0),
    ),
    ((math.inf, USUAL["impulse_tolerance_pct"].value),),
)
# What a plan asks of the set-up, as the charge that calibrates a discharge circuit.
_CHECK = (Key("quantity", "text", is_required=True), Key("min"), Key("max"))
# One round of a sequence: after so many impulses, up to `accept` discharges pass and `reject` or more fail it.
_ROUND = (
    Key("impulses", "whole", at_least=1.0, is_required=True),
    Key("accept", "whole", at_least=0.0, is_required=True),
    Key("reject", "whole", at_least=1.0, is_required=True),
    Key("clear_at_end", "whole", at_least=1.0),
)
_DIRECT = StageNeed(
    (Key("voltage_kv", above=0.0), Key("hold_s", above=0.0)),
    ((math.inf, USUAL["direct_voltage_tolerance_pct"].value),),
    is_required=False,
)


def _kind(name: str, **stated: Any) -> Kind:
    """Return a kind, with what its record must hold as the readers' table says it."""
    wanted = WANTED_BY_KIND[name]
    return Kind(name, channels=wanted.sets, axis=wanted.axis, least_rows=wanted.min_rows, **stated)


_ALL = (
    _kind(
        "power_frequency_withstand",
        quantities=(
            "held_voltage_kv",
            "held_s",
            "disruptive_discharges",
            "crest_factor",
            "frequency_hz",
            "polarity_difference_pct",
            "total_harmonic_distortion_pct",
            "ramp_rate_pct_per_s",
            "voltage_drop_pct",
        ),
        is_axis_strict=True,
        must_move=("voltage_kv",),
        stages=_HELD,
    ),
    _kind(
        "partial_discharge",
        quantities=(
            "held_voltage_kv",
            "held_s",
            "disruptive_discharges",
            "inception_voltage_kv",
            "extinction_voltage_kv",
            "time_to_extinction_s",
            "apparent_charge_pc",
            "background_noise_pc",
            "charge_scale_factor",
            "noise_after_pc",
            "repetition_rate_per_s",
            "average_discharge_current_a",
            "discharge_power_w",
            "quadratic_rate_c2_per_s",
        ),
        optional=("phase_deg", "gated"),
        stages=_HELD,
        keys=(Key("threshold_pc", above=0.0), Key("window_s", above=0.0), Key("setup_checks", "rows", keys=_CHECK)),
        criterion_keys=(Key("window_s", above=0.0),),
        must_judge_unit=True,
    ),
    _kind(
        "lightning_impulse",
        quantities=(
            "test_voltage_kv",
            "front_time_us",
            "time_to_half_value_us",
            "relative_overshoot_pct",
            "time_to_chopping_us",
            "impulses",
            "disruptive_discharges",
            "voltage_difference_pct",
            "current_difference_pct",
        ),
        is_axis_strict=True,
        stages=_IMPULSE,
        keys=(
            Key("acceptance", "text", choices=("three", "three_plus_nine", "fifteen", "fifteen_five_clear")),
            Key("rounds", "rows", keys=_ROUND),
        ),
    ),
    _kind(
        "frequency_response",
        quantities=(
            "resonance_hz",
            "tuned_order",
            "quality_factor",
            "inductance_mh",
            "capacitance_uf",
            "resistance_ohm",
            "parallel_resonance_hz",
            "correlation",
            "log_error_db",
        ),
        is_axis_strict=True,
        keys=(
            _FREQUENCY,
            Key("reference_ohm", above=0.0),
            Key("port", "text", choices=("s11", "s12", "s21", "s22")),
            Key("termination_ohm", above=0.0),
            Key("least_quality_factor", above=0.5),
            Key("compare", "text", choices=("phases", "reference")),
            Key("reference", "object", keys=_TRACE),
        ),
        criterion_keys=(Key("branch", "label"),),
    ),
    _kind(
        "winding_resistance",
        quantities=("resistance_ohm", "resistance_at_reference_ohm", "resistance_unbalance_pct"),
        optional=("part",),
        keys=(*_OF_CONDUCTOR, _REFERENCE_TEMPERATURE, _TEMPERATURE),
    ),
    _kind(
        "insulation_resistance",
        quantities=(
            "insulation_resistance_mohm",
            "insulation_resistance_10min_mohm",
            "polarization_index",
            "held_voltage_kv",
            "held_s",
        ),
        is_axis_strict=True,
        stages=_DIRECT,
        keys=(_REFERENCE_TEMPERATURE, _TEMPERATURE, Key("halving_k", above=0.0), Key("voltage_applied_s")),
    ),
    _kind(
        "dissipation_factor",
        quantities=(
            "dissipation_factor",
            "capacitance_uf",
            "dissipation_factor_tip_up",
            "dissipation_factor_change",
            "capacitance_change_pct",
        ),
        stages=_DIRECT,
        keys=(_FREQUENCY, *_OF_ELEMENTS),
    ),
    _kind(
        "capacitance",
        quantities=("capacitance_uf", "capacitance_change_pct"),
        stages=_DIRECT,
        keys=(_FREQUENCY, _REFERENCE_TEMPERATURE, *_OF_ELEMENTS),
    ),
    _kind(
        "inductance",
        quantities=("inductance_mh", "loss_w", "loss_at_reference_w", "resistance_ohm", "quality_factor"),
        keys=(
            *(_FREQUENCY, *_OF_CONDUCTOR, _REFERENCE_TEMPERATURE, _TEMPERATURE),
            *(Key("rated_current_a", above=0.0), Key("phases", "whole", at_least=1)),
            *(Key("dc_resistance_ohm", above=0.0), Key("dc_resistance_temperature_c", above=-200.0, below=1000.0)),
        ),
    ),
    _kind(
        "temperature_rise",
        quantities=("temperature_rise_k", "hot_spot_rise_k", "resistance_ohm"),
        is_axis_strict=True,
        keys=(
            *(*_OF_CONDUCTOR, Key("cold_resistance_ohm", above=0.0)),
            *(Key("cold_temperature_c", above=-200.0, below=1000.0), Key("ambient_c", above=-100.0, below=200.0)),
            *(Key("shutdown_s"), Key("hot_spot_factor", at_least=1.0, below=3.0), Key("settling_s", at_least=0.0)),
        ),
    ),
)
KINDS: Mapping[str, Kind] = {kind.name: kind for kind in _ALL}
