"""Which bay can run which step, and why another cannot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from schedules.models import Bay, Plan
from schedules.rules import bay as rules


@dataclass(frozen=True)
class Fitness:
    """Whether one bay can run one step, with every reason in words."""

    bay: Bay
    is_fit: bool
    reason: str


@dataclass(frozen=True)
class StepFitness:
    """One step with every bay's fitness; `asks` says in words what the step asks of a bay."""

    title: str
    voltage_kv: float | None
    asks: str
    bays: list[Fitness]

    @property
    def asks_for_voltage(self) -> bool:
        """Say whether the step asks for a source at all."""
        return self.voltage_kv is not None


def bay_fitness(plan: Plan, bays: Sequence[Bay]) -> list[StepFitness]:
    """Return which bay can run which step of an adopted plan."""
    return fitness_of_document({**plan.document, "steps": [step.document for step in plan.steps.all()]}, bays)


def fitness_of_document(document: dict[str, Any], bays: Sequence[Bay]) -> list[StepFitness]:
    """Return which bay can run which step of a plan, adopted or not."""
    capabilities = [(bay, capability_of(bay)) for bay in bays]
    return [_step_fitness(step, document["ratings"], capabilities) for step in document["steps"]]


def capability_of(bay: Bay) -> rules.Bay:
    """Return a bay as the rules know it."""
    return rules.Bay(
        source_kv=bay.source_kv,
        source_kva=bay.source_kva,
        generator_kv=bay.generator_kv,
        generator_kj=bay.generator_kj,
        discharge_pc=bay.residual_discharge_pc,
        frequency_hz=bay.frequency_hz,
        direct_kv=bay.direct_kv,
        direct_ma=bay.direct_ma,
    )


def _step_fitness(
    step: dict[str, Any], ratings: dict[str, Any], capabilities: Sequence[tuple[Bay, rules.Bay]]
) -> StepFitness:
    demand = rules.demand_of_document(step, rules.loading_nf(step.get("pattern", ""), ratings))
    levels = (demand.voltage_kv, demand.direct_kv, demand.impulse_kv)
    voltage = next((level for level in levels if level is not None), None)
    rows = [_fitness(bay, capability, demand) for bay, capability in capabilities]
    return StepFitness(step["title"], voltage, asked_in_words(demand), rows)


def _fitness(bay: Bay, capability: rules.Bay, demand: rules.Demand) -> Fitness:
    lacks = rules.shortcomings(capability, demand)
    return Fitness(bay, not lacks, " ".join(lacks) or _enough(bay, demand))


def _enough(bay: Bay, demand: rules.Demand) -> str:
    if demand.impulse_kv is not None:
        return f"{demand.impulse_kv:g} kV of {bay.generator_kv:g} kV."
    if demand.direct_kv is not None:
        return f"{demand.direct_kv:g} kV of {bay.direct_kv:g} kV direct voltage{_charged_in(bay, demand)}."
    return f"{demand.voltage_kv:g} kV of {bay.source_kv:g} kV." if demand.voltage_kv is not None else "No high voltage."


def _charged_in(bay: Bay, demand: rules.Demand) -> str:
    if demand.direct_kv is None or demand.capacitance_nf is None or not bay.direct_ma:
        return ""
    time_s = rules.charging_time_s(demand.direct_kv, demand.capacitance_nf, bay.direct_ma)
    return f", charged in {time_s:.3g} s at {bay.direct_ma:g} mA (CU/I)"


def asked_in_words(demand: rules.Demand) -> str:
    """Return what a step asks of a bay."""
    words = []
    if demand.voltage_kv is not None:
        words.append(f"{demand.voltage_kv:.4g} kV")
        words += _charging(demand)
    if demand.direct_kv is not None:
        words.append(f"{demand.direct_kv:.4g} kV direct voltage")
    if demand.impulse_kv is not None:
        words.append(f"{demand.impulse_kv:.4g} kV crest")
        if demand.capacitance_nf is not None:
            energy = rules.impulse_energy_kj(demand.impulse_kv, demand.capacitance_nf)
            words.append(f"{energy:.3g} kJ into {demand.capacitance_nf:.4g} nF (½CU²)")
    if demand.charge_limit_pc is not None:
        words.append(f"at most {demand.charge_limit_pc / 2:.4g} pC of its own")
    return ", ".join(words) or "No high voltage is asked"


def _charging(demand: rules.Demand) -> list[str]:
    if demand.voltage_kv is None or demand.frequency_hz is None:
        return []
    if demand.capacitance_nf is None:
        return ["charging power unknown: state the capacitance in the test"]
    values = (demand.voltage_kv, demand.capacitance_nf, demand.frequency_hz)
    current, power = rules.charging_current_ma(*values), rules.charging_power_kva(*values)
    return [f"{current:.4g} mA (ωCU) and {power:.4g} kVA (ωCU²) for {demand.capacitance_nf:.4g} nF"]
