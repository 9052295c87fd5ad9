"""What still stands between a run and its energised stages: every lack in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils import timezone

from equipment.models import Instrument
from equipment.selectors import Measured, instrument_status
from records.evaluation.correcting import acting_of, claimed_twice
from records.evaluation.setups import INSTRUMENT_QUANTITIES, Setup, parse_setup
from records.models import Run, RunInstrument, SetupCheck
from records.models.procedure import charge_limit_pc, stages_of
from records.selectors.digests import MEANT, measuring
from records.selectors.earlier import lacking_before

Kind: Any = SetupCheck.Kind
SAFETY = (Kind.AREA_CLEAR, Kind.EARTHS, Kind.INTERLOCK)
DISCHARGE = "partial_discharge"
# What must be measured with a calibrated instrument, where it is not the voltage: any one of these.
_MAIN: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys(("winding_resistance", "insulation_resistance", "temperature_rise"), ("resistance",)),
    **dict.fromkeys(("dissipation_factor", "capacitance", "inductance", "frequency_response"), ("impedance",)),
    "lightning_impulse": ("voltage", "impulse"),
}


def latest_checks(run: Run) -> Mapping[str, SetupCheck]:
    """Return the check of each kind that counts: the last one made."""
    return {check.kind: check for check in run.checks.all()}


def is_calibrator_off(checks: Mapping[str, SetupCheck]) -> bool:
    """Say whether the calibrator was confirmed off after the last charge calibration."""
    off, calibration = checks.get(Kind.CALIBRATOR_OFF), checks.get(Kind.CHARGE_CALIBRATION)
    return off is not None and (calibration is None or off.pk > calibration.pk)


def missing_before_energising(run: Run) -> tuple[str, ...]:
    """Return every reason, in words, why the energised stages of a run may not open yet."""
    checks = latest_checks(run)
    earlier = lacking_before(run)
    lacks = [*_conditions(run), *_instruments(run), *_witness(run), *([earlier] if earlier else [])]
    if run.step.kind == DISCHARGE:
        lacks += _discharge(run, checks)
    scale = checks.get(Kind.VOLTAGE_SCALE)
    if scale is not None and not scale.is_satisfied:
        lacks.append(scale.reason)
    labels = dict(Kind.choices)
    lacks += [f"Not confirmed yet: {labels[kind].lower()}." for kind in SAFETY if kind not in checks]
    return tuple(lacks)


def _conditions(run: Run) -> list[str]:
    if None in (run.temperature_c, run.pressure_kpa, run.relative_humidity_pct):
        return ["The ambient conditions are not recorded."]
    return []


def _instruments(run: Run) -> list[str]:
    uses = list(run.instruments.all())
    measured = {use.instrument.quantity for use in uses} | {use.system.quantity for use in uses if use.system}
    wanted = [_MAIN.get(run.step.kind, ("voltage",)), *([("charge",)] if run.step.kind == DISCHARGE else [])]
    lacks = [
        f"No instrument that measures the {any_of[0]} is listed." for any_of in wanted if measured.isdisjoint(any_of)
    ]
    lacks += [
        f"{words[:-1]}: use them as a measuring system, or take one out." for words in claimed_twice(circuit_of(run))
    ]
    return lacks + [words for use in uses if use.overridden_by_id is None and (words := _not_fit(run, use))]


def _not_fit(run: Run, use: RunInstrument) -> str:
    """Return why an instrument may not be used now, also where that has changed since it was listed; else nothing."""
    now = instrument_status(
        use.instrument, timezone.localdate(), measured=what_it_measures(run, use.instrument), listed=use.calibration
    )
    if use.is_valid and now.is_valid:
        return ""
    return (
        f"{use.instrument.identifier} is not in calibration today: {use.status_reason if now.is_valid else now.reason} "
        "Use another, or ask the quality manager to override with a reason."
    )


def circuit_of(run: Run) -> Setup:
    """Return the instruments of a run as the evaluation takes them."""
    return parse_setup({"instruments": measuring(run)})


def what_it_measures(run: Run, instrument: Instrument) -> Measured | None:
    """Return the greatest value that the plan lets an instrument measure in a run, or None where it names none."""
    if instrument.quantity == "voltage":
        voltage = max((stage.voltage_kv for stage in stages_of(run.step.document)), default=None)
        return Measured("voltage", voltage, "kV") if voltage is not None else None
    if instrument.quantity == "charge":
        charge = charge_limit_pc(run.step.document)
        return Measured("charge", charge, "pC") if charge is not None else None
    return None


def beyond_corrections(run: Run, quantity: str, curves: Sequence[Mapping[str, Any]]) -> str:
    """Return why the corrections of an instrument's calibration are not known at a set point of the plan, or nothing.

    Of an instrument that is used on its own, whose corrections are applied or count as uncertainty.
    """
    meant = MEANT.get(run.step.kind, {}).get(quantity, quantity)
    row = {"name": "", "quantity": meant, "relative_uncertainty_pct": 0.0, "corrections": list(curves)}
    if meant not in INSTRUMENT_QUANTITIES or not curves:
        return ""
    for acting in acting_of(parse_setup({"instruments": [row]})):
        levels = [stage.voltage_kv for stage in stages_of(run.step.document)]
        beyond = [level for level in levels if acting.row.channel == "voltage_kv" and not acting.knows(level)]
        if beyond:
            return (
                f"{beyond[0]:g} kV lies outside the calibrated range, {acting.range_in_words}; what is measured there "
                "could not be judged."
            )
    return ""


def _witness(run: Run) -> list[str]:
    if run.step.point != "witness" or run.step.released_at is not None:
        return []
    if any(invitation.revoked_at is None for invitation in run.invitations.all()):
        return []
    return ["This step is a witness point and no witness is invited. Invite one, or release the point with a reason."]


def _discharge(run: Run, checks: Mapping[str, SetupCheck]) -> list[str]:
    lacks = []
    if charge_limit_pc(run.step.document) is None:
        lacks.append("The plan names no charge limit; nothing can be judged without one.")
    for kind, words in (
        (Kind.CHARGE_CALIBRATION, "The charge calibration of the circuit is missing."),
        (Kind.BACKGROUND_NOISE, "The background noise is missing."),
    ):
        check = checks.get(kind)
        if check is None:
            lacks.append(words)
        elif not check.is_satisfied:
            lacks.append(check.reason)
    if Kind.CALIBRATOR_OFF not in checks:
        lacks.append("Nobody has confirmed that the charge calibrator is off the circuit.")
    elif not is_calibrator_off(checks):
        lacks.append("The circuit was calibrated again after the calibrator was confirmed off; confirm it off again.")
    return lacks
