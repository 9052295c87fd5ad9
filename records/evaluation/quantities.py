"""Which quantities each kind of step knows: unit, and what a value outside its limits says about."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from records.readers.wanted import WANTED_BY_KIND, Wanted

Judges = Literal["unit", "test"]


@dataclass(frozen=True)
class Quantity:
    """Name, symbol of the unit, and whether a value outside its limits speaks of the unit or of the test."""

    name: str
    unit: str
    judges: Judges


_ALL = (
    Quantity("held_voltage_kv", "kV", "test"),
    Quantity("held_s", "s", "test"),
    Quantity("disruptive_discharges", "", "unit"),
    Quantity("inception_voltage_kv", "kV", "unit"),
    Quantity("extinction_voltage_kv", "kV", "unit"),
    Quantity("time_to_extinction_s", "s", "unit"),
    Quantity("apparent_charge_pc", "pC", "unit"),
    Quantity("background_noise_pc", "pC", "test"),
    Quantity("charge_scale_factor", "", "test"),
)
QUANTITIES: Mapping[str, Quantity] = {quantity.name: quantity for quantity in _ALL}

# A new kind of step begins with a row here and a module that `evaluating.KINDS` names.
QUANTITIES_BY_KIND: Mapping[str, tuple[str, ...]] = {
    "power_frequency_withstand": ("held_voltage_kv", "held_s", "disruptive_discharges"),
    "partial_discharge": tuple(QUANTITIES),
}
CHANNELS_BY_KIND: Mapping[str, tuple[str, ...]] = {
    "power_frequency_withstand": ("time_s", "voltage_kv"),
    "partial_discharge": ("time_s", "voltage_kv", "charge_pc"),
}


def wanted_by(kind: str) -> Wanted:
    """Return what a kind of step needs of its record; where readers name nothing, the channels of the table above."""
    return WANTED_BY_KIND.get(kind) or Wanted.of(CHANNELS_BY_KIND.get(kind, ("time_s",)))
