"""The uncertainty budget of a measuring system, put together from what is known of its instruments."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Any

from equipment.metrology.budget import evaluate_budget, read_budget
from equipment.metrology.control import individuals_chart
from equipment.models import Calibration, Instrument, MeasuringSystem, SystemBudget
from equipment.selectors.accuracy import corrections_of
from equipment.selectors.history import drift_line, drift_series
from equipment.selectors.status import instrument_status


@dataclass(frozen=True)
class BudgetDraft:
    """A budget in the form of the shell contract, with where each contribution comes from."""

    document: dict[str, Any]
    origins: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class ShareBar:
    """One contribution of a budget: its share as a bar [per cent], and where it comes from."""

    name: str
    words: str
    percent: float
    standard_uncertainty: float
    sensitivity: float
    contribution: float


def budget_draft(
    system: MeasuringSystem, *, at_value: float, unit: str, on: date, temperature_pct: float = 0.0
) -> BudgetDraft:
    """Return the budget of a system at one value: every contribution relative to it, combined as a product.

    Calibration of each instrument, its drift since, its resolution, the temperature as a half width [per cent of the
    value], and the repeatability of check standards. What is not known is left out, and the origins say so.
    """
    inputs: list[dict[str, Any]] = []
    origins: list[tuple[str, str]] = []
    for number, part in enumerate(system.components.all(), start=1):
        _instrument(part.instrument, number, at_value, unit, on, inputs, origins)
    if temperature_pct > 0:
        half = {"half_width": temperature_pct / 100, "distribution": "rectangular"}
        inputs.append({"name": "temperature", "value": 0.0, **half})
        origins.append(("temperature", f"±{temperature_pct:g} % of the value over the laboratory's temperatures"))
    factors = " * ".join(f"(1 + {row['name']})" for row in inputs)
    document = {
        "measurand": f"{system.get_quantity_display()} by {system.name}",
        "unit": unit,
        "model": f"x * {factors}" if factors else "x",
        "inputs": [{"name": "x", "value": at_value, "standard_uncertainty": 0.0}, *inputs],
        "coverage_probability": 0.95,
    }
    return BudgetDraft(document, tuple(origins))


def _instrument(
    item: Instrument,
    number: int,
    at_value: float,
    unit: str,
    on: date,
    inputs: list[dict[str, Any]],
    origins: list[tuple[str, str]],
) -> None:
    def enter(kind: str, words: str, **said: Any) -> None:
        name = f"{kind}_{number}"
        inputs.append({"name": name, "value": 0.0, **said})
        origins.append((name, f"{item.identifier}: {words}"))

    status = instrument_status(item, on)
    counts = status.calibration
    row = next((c for c in item.calibrations.all() if counts and c.certificate_number == counts.reference), None)
    if row is not None:
        enter("calibration", **_calibration(row, at_value, unit))
        _drift(item, (on - row.calibrated_on).days, enter)
    for held in item.ranges.all():
        if held.resolution and held.unit == unit and held.low <= at_value <= held.high:
            half = held.resolution / 2 / abs(at_value)
            enter("resolution", f"resolution {held.resolution:g} {unit}", half_width=half, distribution="rectangular")
            break
    _repeatability(item, enter)


def _calibration(row: Calibration, at_value: float, unit: str) -> dict[str, Any]:
    """Return what a calibration adds: its curve's uncertainty at the value, where it has one there, else its own."""
    curve = next((one.curve for one in corrections_of(row) if one.unit == unit), None)
    reading = curve.reading_of(at_value) if curve is not None else at_value
    if curve is not None and at_value and abs(curve.apply(reading).value - at_value) <= 1e-6 * abs(at_value):
        u = curve.apply(reading).standard_uncertainty / abs(at_value)
        words = f"calibration {row.certificate_number}, its curve at {at_value:g} {unit}"
        return {"words": words, "standard_uncertainty": u}
    spread = {"expanded_uncertainty": row.relative_uncertainty_pct / 100, "coverage_factor": row.coverage_factor}
    return {"words": f"calibration {row.certificate_number}", **spread}


def _drift(item: Instrument, days: int, enter: Any) -> None:
    series = drift_series(item)
    fit = drift_line(series) if series is not None else None
    if series is None or fit is None or not series.reference:
        return
    slope = math.hypot(fit.line.slope, fit.line.slope_uncertainty)
    half = abs(slope * days / series.reference)
    enter("drift", f"drift over {days} days since the calibration", half_width=half, distribution="rectangular")


def _repeatability(item: Instrument, enter: Any) -> None:
    for standard in item.check_standards.all():
        values = [reading.value for reading in standard.readings.all()]
        if len(values) >= 2 and standard.reference:
            sigma = individuals_chart(values).sigma / abs(standard.reference)
            freedom = len(values) - 1
            words = f"repeatability from {len(values)} readings of {standard.name}"
            enter("repeatability", words, standard_uncertainty=sigma, degrees_of_freedom=freedom)
            return


def statement_of(document: dict[str, Any]) -> dict[str, Any]:
    """Return what a budget gives, as the shell's own door gives it."""
    return evaluate_budget(read_budget(document)).as_dict()


def shares_of(budget: SystemBudget) -> list[ShareBar]:
    """Return the contributions of a stored budget for the bar picture, the greatest first."""
    origins = dict(budget.document.get("origins", []))
    rows = [
        ShareBar(
            row["name"],
            origins.get(row["name"], row["name"]),
            round(100 * row["share"], 1),
            row["standard_uncertainty"],
            row["sensitivity"],
            row["contribution"],
        )
        for row in budget.statement["contributions"]
        if row["name"] != "x"
    ]
    return sorted(rows, key=lambda bar: -bar.percent)
