"""Which bay can run which step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from schedules.models import Bay, Plan, Step


@dataclass(frozen=True)
class Fitness:
    """Whether one bay can run one step, by its voltage and its own discharges."""

    bay: Bay
    is_fit: bool
    reason: str


@dataclass(frozen=True)
class StepFitness:
    """One step with every bay's fitness; `voltage_kv` is its highest set point, None where it has none."""

    title: str
    voltage_kv: float | None
    bays: list[Fitness]


def bay_fitness(plan: Plan, bays: Sequence[Bay]) -> list[StepFitness]:
    """Return which bay can run which step of the plan."""
    return [_step_fitness(step, bays) for step in plan.steps.all()]


def _step_fitness(step: Step, bays: Sequence[Bay]) -> StepFitness:
    stages = step.document["procedure"].get("stages", [])
    voltage = max((stage.get("set_point_kv", stage["voltage_kv"]) for stage in stages), default=None)
    if step.kind == "lightning_impulse":
        reason = "An impulse generator makes this voltage, not the source of the bay."
        return StepFitness(step.title, voltage, [Fitness(bay, False, reason) for bay in bays])
    noise = min((check["max"] for check in _noise_checks(step)), default=None)
    return StepFitness(step.title, voltage, [_fitness(bay, voltage, noise) for bay in bays])


def _noise_checks(step: Step) -> list[dict[str, Any]]:
    procedure = step.document["procedure"]
    checks = [*procedure.get("setup_checks", []), *procedure.get("criteria", [])]
    return [check for check in checks if check["quantity"] == "background_noise_pc" and "max" in check]


def _fitness(bay: Bay, voltage: float | None, noise: float | None) -> Fitness:
    if voltage is not None and voltage > bay.source_kv:
        return Fitness(bay, False, f"The source gives {bay.source_kv:g} kV; the step asks {voltage:g} kV.")
    if noise is not None and bay.residual_discharge_pc > noise:
        residual = f"The bay's own discharges are {bay.residual_discharge_pc:g} pC"
        return Fitness(bay, False, f"{residual}; the step allows {noise:g} pC of noise.")
    asked = f"{voltage:g} kV of {bay.source_kv:g} kV" if voltage is not None else "No high voltage is asked"
    return Fitness(bay, True, f"{asked}.")
