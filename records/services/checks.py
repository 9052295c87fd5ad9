"""The checks before voltage. A later check of the same kind takes the earlier one's place; both stay."""

from __future__ import annotations

import math
from typing import Any

from labsite.ledger.services import record_entry, writing
from records.models import Run, SetupCheck
from records.models.procedure import charge_limit_pc, injected_limits_pc, noise_limit_pc
from records.selectors.gates import DISCHARGE, SAFETY
from records.services import lifecycle
from records.services.refusals import Refused, ValueRefused

Kind: Any = SetupCheck.Kind
# Within 3 % of the reference: uncertainty asked of an approved measuring system, IEC 60060-2, from memory.
_SCALE_TOLERANCE_PCT = 3.0


def record_charge_calibration(*, run: Run, injected_pc: float, reading: float, by: Any) -> SetupCheck:
    """Note the charge calibration of the circuit with its scale factor; the plan says which charge may be injected."""
    _require_positive(injected_pc, "pC injected")
    _require_positive(reading, "pC read")
    with writing():
        held = _prepared(run, by, discharge=True)
        limit = _limit(charge_limit_pc(held.step.document))
        low, high = _injected_limits(injected_limits_pc(held.step.document))
        is_inside = low <= injected_pc <= high
        reason = (
            ""
            if is_inside
            else (
                f"{injected_pc:g} pC was injected; the plan's limit of {limit:g} pC asks {low:g} to {high:g} pC "
                f"({100 * low / limit:.4g} to {100 * high / limit:.4g} %). Calibrate again with a charge in this range."
            )
        )
        values = {"injected_pc": injected_pc, "reading": reading, "scale_factor": injected_pc / reading}
        return _keep(held, Kind.CHARGE_CALIBRATION, values, is_inside, reason, by)


def record_background_noise(*, run: Run, noise_pc: float, by: Any) -> SetupCheck:
    """Note the background noise; over half the limit the test would not be valid."""
    if not math.isfinite(noise_pc) or noise_pc < 0:
        raise ValueRefused(f"{noise_pc:g} pC cannot be a background noise. Give a number of at least 0.")
    with writing():
        held = _prepared(run, by, discharge=True)
        limit = _limit(noise_limit_pc(held.step.document))
        is_quiet = noise_pc <= limit
        reason = (
            ""
            if is_quiet
            else (
                f"The background noise is {noise_pc:g} pC; {limit:g} pC at most, else the test is not valid. "
                "Find the source of the noise, then measure again."
            )
        )
        return _keep(held, Kind.BACKGROUND_NOISE, {"noise_pc": noise_pc, "limit_pc": limit}, is_quiet, reason, by)


def record_voltage_scale(*, run: Run, reference_kv: float, reading_kv: float, by: Any) -> SetupCheck:
    """Note the voltage reading against a reference; more than 3 % apart does not satisfy."""
    _require_positive(reference_kv, "kV reference")
    _require_positive(reading_kv, "kV read")
    with writing():
        held = _prepared(run, by)
        deviation = round(
            100 * (reading_kv - reference_kv) / reference_kv, 9
        )  # 10.3 against 10 is 3 %, not a hair more
        is_close = abs(deviation) <= _SCALE_TOLERANCE_PCT
        reason = (
            ""
            if is_close
            else (
                f"The reading of {reading_kv:g} kV is {deviation:+.1f} % off the reference of {reference_kv:g} kV; "
                f"at most ± {_SCALE_TOLERANCE_PCT:g} % is allowed. Check divider and scale factor, then compare again."
            )
        )
        values = {"reference_kv": reference_kv, "reading_kv": reading_kv, "deviation_pct": deviation}
        return _keep(held, Kind.VOLTAGE_SCALE, values, is_close, reason, by)


def confirm_safety(*, run: Run, kind: str, by: Any) -> SetupCheck:
    """Note that a named person confirmed area, earths or interlock. Local safety rules and licensed practice rule."""
    if kind not in SAFETY:
        raise ValueRefused(f"“{kind}” is no safety confirmation.")
    with writing():
        return _keep(_prepared(run, by), kind, {"confirmed_by": str(by)}, True, "", by)


def confirm_calibrator_off(*, run: Run, by: Any) -> SetupCheck:
    """Note that a named person saw the charge calibrator off the circuit."""
    with writing():
        held = _prepared(run, by, discharge=True)
        return _keep(held, Kind.CALIBRATOR_OFF, {"confirmed_by": str(by)}, True, "", by)


def _prepared(run: Run, by: Any, *, discharge: bool = False) -> Run:
    held = lifecycle.locked(run)
    lifecycle.require(held, "prepare")
    lifecycle.require_person_of(held, by)
    if discharge and held.step.kind != DISCHARGE:
        raise Refused("This check belongs to partial-discharge tests; this step is none.")
    return held


def _require_positive(value: float, unit: str) -> None:
    if not math.isfinite(value) or value <= 0:
        raise ValueRefused(f"{value:g} {unit} cannot be. Give a number above 0.")


def _limit(limit: float | None) -> float:
    if limit is None:
        raise Refused("The plan names no charge limit; nothing can be judged without one.")
    return limit


def _injected_limits(limits: tuple[float, float] | None) -> tuple[float, float]:
    if limits is None:
        raise Refused("The plan does not say which charge may be injected. Adopt a plan that does.")
    return limits


def _keep(run: Run, kind: str, values: dict[str, Any], is_satisfied: bool, reason: str, by: Any) -> SetupCheck:
    check = SetupCheck.objects.create(
        run=run, kind=kind, values=values, is_satisfied=is_satisfied, reason=reason[:300], made_by=by
    )
    told = {name: [None, value] for name, value in values.items()} | {"satisfied": [None, is_satisfied]}
    record_entry(action=f"run.check.{kind}", subject=run, changes=told, reason=reason, by=by)
    return check
