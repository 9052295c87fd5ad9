"""With which measuring systems a plan can be measured today, and why not with another: the one answer for the day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from equipment.models import MeasuringSystem
from equipment.models.instrument import Quantity
from equipment.selectors import SystemStatus, system_status

# What a kind of step is measured with; common practice, no source.
_MEASURED: Mapping[str, tuple[str, ...]] = {
    "power_frequency_withstand": ("voltage",),
    "partial_discharge": ("voltage", "charge"),
    "lightning_impulse": ("impulse",),
    "frequency_response": ("impedance",),
    "winding_resistance": ("resistance",),
    "insulation_resistance": ("resistance",),
    "temperature_rise": ("resistance", "temperature"),
    "dissipation_factor": ("impedance",),
    "capacitance": ("impedance",),
    "inductance": ("impedance",),
}


@dataclass(frozen=True)
class Circuit:
    """One quantity that steps of a plan measure, with every system for it and whether it may be used on the day."""

    quantity: str
    systems: tuple[SystemStatus, ...]

    @property
    def is_lacking(self) -> bool:
        """Say whether no system for it may be used."""
        return not any(system.is_valid for system in self.systems)


def circuits_of_document(document: dict[str, Any], viewer: Any, on: date) -> list[Circuit]:
    """Return what a plan measures, in the order of its steps; the same number of queries for any number of systems."""
    kinds = (step["kind"] for step in document["steps"])
    wanted = list(dict.fromkeys(name for kind in kinds for name in _MEASURED.get(kind, ())))
    found = MeasuringSystem.objects.visible_to(viewer).filter(quantity__in=wanted, ended_on__isnull=True).for_list()
    states = [system_status(system, on) for system in found.order_by("name")]
    return [
        Circuit(str(Quantity(name).label), tuple(state for state in states if state.system.quantity == name))
        for name in wanted
    ]
