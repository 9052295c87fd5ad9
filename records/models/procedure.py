"""What the plan's step asks, read from its document: stages, limits, bases."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from records.evaluation.asked import of_step
from schedules.rules.place import PlacedStage, document_at_place, stages_at_place

WORDS: Mapping[str, str] = {
    "held_voltage_kv": "Voltage held",
    "held_s": "Time held",
    "disruptive_discharges": "Disruptive discharges",
    "inception_voltage_kv": "Inception voltage",
    "extinction_voltage_kv": "Extinction voltage",
    "time_to_extinction_s": "Time to extinction",
    "apparent_charge_pc": "Apparent charge",
    "background_noise_pc": "Background noise",
    "charge_scale_factor": "Charge scale factor",
    "noise_after_pc": "Background noise after the test",
    "repetition_rate_per_s": "Pulse repetition rate",
    "average_discharge_current_a": "Average discharge current",
    "discharge_power_w": "Discharge power",
    "quadratic_rate_c2_per_s": "Quadratic rate",
    "crest_factor": "Crest factor",
    "frequency_hz": "Frequency",
    "polarity_difference_pct": "Difference of the polarities",
    "total_harmonic_distortion_pct": "Total harmonic distortion",
    "ramp_rate_pct_per_s": "Rate of rise from 75 %",
    "voltage_drop_pct": "Voltage drop during the hold",
    "resistance_ohm": "Resistance",
    "resistance_at_reference_ohm": "Resistance at the reference temperature",
    "resistance_unbalance_pct": "Unbalance of the phases' resistances",
    "insulation_resistance_mohm": "Insulation resistance after 1 min",
    "insulation_resistance_10min_mohm": "Insulation resistance after 10 min",
    "polarization_index": "Polarization index",
    "dissipation_factor": "Dissipation factor",
    "dissipation_factor_tip_up": "Rise of the dissipation factor with voltage",
    "dissipation_factor_change": "Change of the dissipation factor",
    "capacitance_uf": "Capacitance",
    "capacitance_change_pct": "Change of capacitance",
    "inductance_mh": "Inductance",
    "quality_factor": "Quality factor",
    "loss_w": "Loss",
    "loss_at_reference_w": "Loss at the reference temperature",
    "temperature_rise_k": "Temperature rise",
    "impulses": "Impulses that count",
    "test_voltage_kv": "Test voltage",
    "front_time_us": "Front time",
    "time_to_half_value_us": "Time to half-value",
    "relative_overshoot_pct": "Relative overshoot",
    "time_to_chopping_us": "Time to chopping",
    "voltage_difference_pct": "Difference of reduced and full waves",
    "current_difference_pct": "Difference of the currents",
    "resonance_hz": "Resonance",
    "parallel_resonance_hz": "Parallel resonance",
    "tuned_order": "Tuned order",
    "correlation": "Correlation of the traces",
    "log_error_db": "Mean difference of the traces",
    "hot_spot_rise_k": "Temperature rise of the hottest spot",
}


@dataclass(frozen=True)
class StageOfPlan:
    """One stage as the bay needs it: set point of the floor, band that counts as held, hold."""

    name: str
    title: str
    voltage_kv: float
    set_point_kv: float
    low_kv: float
    high_kv: float
    hold_s: float
    tolerance_pct: float


def quantity_words(quantity: str) -> str:
    """Return the name of a quantity in words."""
    return WORDS.get(quantity, quantity.replace("_", " ").capitalize())


def stage_words(name: str) -> str:
    """Return the name of a stage as a title."""
    return {"prestress": "Pre-stress"}.get(name, name.replace("_", " ").capitalize())


def procedure_of(document: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the procedure of a step's document, wherever it stands."""
    return document.get("procedure") or document


def placed_stages(run: Any) -> tuple[PlacedStage, ...]:
    """Return the stages of a run's step corrected for its air; empty before the conditions, and where none is asked."""
    return _placed(run)[0]


def _placed(run: Any) -> tuple[tuple[PlacedStage, ...], str]:
    """Return the stages in the run's air, and why the formula has no value for it where that is so."""
    conditions = (run.temperature_c, run.pressure_kpa, run.relative_humidity_pct)
    if None in conditions:
        return (), ""
    try:
        return stages_at_place(run.step.document, *conditions), ""
    except ValueError as fault:  # the planned levels stand
        return (), str(fault)


def document_of(run: Any, stated: Mapping[str, Any] | None = None) -> Mapping[str, Any]:
    """Return the step of a run with the levels that apply at its place, and with what people stated where it is silent.

    `stated` takes the place of what is stated now, as where an evaluation is computed again with what it was given.
    """
    known = stated_step_values(run) if stated is None else stated
    return with_stated(document_at_place(run.step.document, placed_stages(run)), known)


def stated_values(run: Any) -> Mapping[str, Any]:
    """Return the values of the test that people stated on the run's sheet last, by name with unit."""
    rows = [check for check in run.checks.all() if check.kind == "test_values"]
    return rows[-1].values if rows else {}


def stated_step_values(run: Any) -> dict[str, Any]:
    """Return those of the stated values that complete the step; no row is read for a kind that asks for none."""
    names = of_step(run.step.kind)
    return {name: value for name, value in stated_values(run).items() if name in names} if names else {}


def with_stated(document: Mapping[str, Any], stated: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return a step's document with further keys; what the plan states stays."""
    missing = {key: value for key, value in stated.items() if procedure_of(document).get(key) is None}
    if not missing:
        return document
    if document.get("procedure"):
        return {**document, "procedure": {**document["procedure"], **missing}}
    return {**document, **missing}


def place_words(run: Any) -> tuple[str, ...]:
    """Return level, factors and applied set point of each stage in a sentence, then what must be warned of.

    The factors are that of the altitude of the site, where the plan applies it, and Kt for the air of the run. A stage
    with neither is not told.
    """
    placed, fault = _placed(run)
    lines = [air_words(one) for one in placed] or [
        words for stage in procedure_of(run.step.document).get("stages") or () if (words := site_words(stage))
    ]
    lines += [words for one in placed[:1] for words in one.correction.warnings]
    if fault:
        lines.append(f"No correction for the air (Kt) is worked out, and the planned levels stand: {fault}.")
    return tuple(lines)


def air_words(one: PlacedStage) -> str:
    """Return level, factors and applied set point of a stage in the air of a run."""
    found = one.correction
    level, factors, sources = found.level_kv, "", ""
    if one.altitude_factor is not None and one.document_kv is not None:
        level, factors = one.document_kv, f" × Ka {one.altitude_factor:.4f}"
        sources = "Ka for the altitude of the site; "
    return (
        f"{stage_words(one.name)}: {level:.4g} kV{factors} × Kt {found.factor:.4f} = "
        f"{_to_set(found.level_kv * found.factor, found.set_point_kv)} ({sources}IEC 60060-1, air of this run)."
    )


def site_words(stage: Mapping[str, Any]) -> str:
    """Return level, altitude factor and set point of a planned stage; empty where the plan applies none."""
    factor = stage.get("altitude_factor")
    if factor is None:
        return ""
    product = _to_set(stage["exact_kv"], stage["set_point_kv"])
    title = stage_words(stage["name"])
    return f"{title}: {stage['level_kv']:.4g} kV × Ka {factor:.4f} = {product} (Ka for the altitude of the site)."


def _to_set(product_kv: float, set_point_kv: float) -> str:
    """Return what a product comes to, and what is set for it where the step of the floor makes it another."""
    if f"{product_kv:.2f}" == f"{set_point_kv:.2f}":
        return f"{set_point_kv:.2f} kV to set"
    return f"{product_kv:.2f} kV; {set_point_kv:.2f} kV to set"


def injected_limits_pc(document: Mapping[str, Any]) -> tuple[float, float] | None:
    """Return between which charges the circuit is calibrated [pC], as the plan's set-up checks say; None without."""
    rows = procedure_of(document).get("setup_checks") or ()
    row = next((one for one in rows if one["quantity"] == "injected_charge_pc"), None)
    if row is None or row.get("min") is None or row.get("max") is None:
        return None
    return float(row["min"]), float(row["max"])


def stages_of(document: Mapping[str, Any]) -> tuple[StageOfPlan, ...]:
    """Return the energised stages in order."""
    return tuple(_stage(row) for row in procedure_of(document).get("stages") or ())


def _stage(row: Mapping[str, Any]) -> StageOfPlan:
    voltage, tolerance = float(row.get("voltage_kv") or 0), float(row.get("tolerance_pct") or 3)
    return StageOfPlan(
        row["name"],
        stage_words(row["name"]),
        voltage,
        float(row.get("set_point_kv") or voltage),
        voltage * (1 - tolerance / 100),
        voltage * (1 + tolerance / 100),
        float(row.get("hold_s") or 0),
        tolerance,
    )


def charge_limit_pc(document: Mapping[str, Any]) -> float | None:
    """Return the greatest apparent charge that the plan allows the unit [pC], or None where it names none."""
    rows = procedure_of(document).get("criteria") or ()
    limits = [row["max"] for row in rows if row["quantity"] == "apparent_charge_pc" and row.get("max") is not None]
    return float(min(limits)) if limits else None


def noise_limit_pc(document: Mapping[str, Any]) -> float | None:
    """Return the greatest background noise [pC]: what the plan states, and never over half the charge limit."""
    rows = procedure_of(document).get("criteria") or ()
    stated = [row["max"] for row in rows if row["quantity"] == "background_noise_pc" and row.get("max") is not None]
    limit = charge_limit_pc(document)
    half = [limit / 2] if limit is not None else []
    return min([*stated, *half], default=None)


def basis_words(document: Mapping[str, Any], quantity: str, stage: str) -> str:
    """Return where a limit comes from, in small type: document, edition, clause, and how sure we are."""
    places = {f"criteria.{quantity}.{stage}.{end}" for end in ("max", "min", "nominal")} | {
        f"criteria.{quantity}.{end}" for end in ("max", "min", "nominal")
    }
    row = next((basis for basis in document.get("basis") or () if basis.get("of") in places), None)
    if row is None:
        return "asked of every test of this kind"
    named = " ".join(part for part in (row.get("document"), row.get("edition")) if part)
    sure = {"memory": "from memory", "published": "published"}.get(row.get("confidence"), row.get("confidence"))
    return " · ".join(part for part in (named, row.get("clause"), sure) if part)
