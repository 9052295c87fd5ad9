"""The run sheet: its steps in order, which are done, and where the run stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.utils import timezone

from records.models import Record, Run, SetupCheck
from records.models.procedure import StageOfPlan, charge_limit_pc, document_of, procedure_of, stages_of
from records.selectors.gates import DISCHARGE, SAFETY, is_calibrator_off, latest_checks, missing_before_energising
from records.selectors.stated import asked_on_sheet, values_in_words

Kind: Any = SetupCheck.Kind
State: Any = Run.State


@dataclass(frozen=True)
class SheetStep:
    """One line of the run sheet."""

    key: str
    label: str
    detail: str = ""
    is_done: bool = False
    is_blocked: bool = False
    is_optional: bool = False
    stage: StageOfPlan | None = None


@dataclass(frozen=True)
class TimelineStep:
    """One line as the timeline component shows it."""

    label: str
    detail: str
    state: str
    url: str


@dataclass(frozen=True)
class Sheet:
    """All lines, and the one that comes next."""

    steps: tuple[SheetStep, ...]
    current: SheetStep

    def at(self, key: str | None) -> SheetStep:
        """Return the line asked for, else the one that comes next."""
        return next((step for step in self.steps if step.key == key), self.current)

    def timeline(self, shown: SheetStep, address: str) -> list[TimelineStep]:
        """Return the lines for the component; the one shown is where the reader is."""
        return [
            TimelineStep(step.label, step.detail, _state(step, shown), f"{address}?at={step.key}")
            for step in self.steps
        ]


def _state(step: SheetStep, shown: SheetStep) -> str:
    if step.key == shown.key:
        return "current"
    if step.is_blocked:
        return "blocked"
    return "done" if step.is_done else "todo"


def run_sheet(run: Run) -> Sheet:
    """Return the sheet of a run fetched with `for_detail`."""
    steps = (*_setup(run), *_stages(run), *_ending(run))
    current = next((step for step in steps if not step.is_done and not step.is_optional), steps[-1])
    return Sheet(steps, current)


def _setup(run: Run) -> list[SheetStep]:
    checks = latest_checks(run)
    steps = [_conditions(run), _instruments(run)]
    if run.step.kind == DISCHARGE:
        steps += [
            _check(checks, Kind.CHARGE_CALIBRATION, "calibration", "Charge calibration"),
            _check(checks, Kind.BACKGROUND_NOISE, "noise", "Background noise"),
            _calibrator(checks),
        ]
    steps.append(replace(_check(checks, Kind.VOLTAGE_SCALE, "scale", "Voltage scale (optional)"), is_optional=True))
    steps.append(_safety(checks))
    is_open = run.state != State.SETUP
    missing = () if is_open else missing_before_energising(run)
    detail = "opened" if is_open else f"{len(missing)} missing" if missing else "everything is there"
    steps.append(SheetStep("open", "Energised stages", detail, is_open))
    return steps


def _conditions(run: Run) -> SheetStep:
    if run.temperature_c is None or run.pressure_kpa is None or run.relative_humidity_pct is None:
        return SheetStep("conditions", "Conditions")
    detail = f"{run.temperature_c:.4g} °C, {run.pressure_kpa:.4g} kPa, {run.relative_humidity_pct:.3g} %"
    return SheetStep("conditions", "Conditions", detail, True)


def _instruments(run: Run) -> SheetStep:
    uses = list(run.instruments.all())
    if not uses:
        return SheetStep("instruments", "Instruments")
    overdue = [use.instrument.identifier for use in uses if not use.is_valid and use.overridden_by_id is None]
    overridden = [use.instrument.identifier for use in uses if use.overridden_by_id is not None]
    if overdue:
        return SheetStep("instruments", "Instruments", f"not in calibration: {', '.join(overdue)}", False, True)
    detail = f"by override: {', '.join(overridden)}" if overridden else f"{len(uses)} listed, all in calibration"
    is_enough = not any("No instrument" in words for words in missing_before_energising(run))
    return SheetStep("instruments", "Instruments", detail, is_enough or run.state != State.SETUP)


def _check(checks: Mapping[str, SetupCheck], kind: str, key: str, label: str) -> SheetStep:
    check = checks.get(kind)
    if check is None:
        return SheetStep(key, label)
    return SheetStep(key, label, check_words(check), check.is_satisfied, not check.is_satisfied)


def check_words(check: SetupCheck) -> str:
    """Return a check in few words with its numbers."""
    values = check.values
    if check.kind == Kind.CHARGE_CALIBRATION:
        factor = values["scale_factor"]
        return f"{values['injected_pc']:.4g} pC reads {values['reading']:.4g}, scale factor {factor:.4g}"
    if check.kind == Kind.BACKGROUND_NOISE:
        return f"{values['noise_pc']:.3g} pC of {values['limit_pc']:.4g} pC"
    if check.kind == Kind.TEST_VALUES:
        return values_in_words(check.run.step.kind, values) or "none beside the record"
    if check.kind == Kind.VOLTAGE_SCALE:
        return f"{values['reading_kv']:.4g} kV at {values['reference_kv']:.4g} kV, {values['deviation_pct']:+.2g} %"
    return f"{check.made_by}, {timezone.localtime(check.made_at):%H:%M}"


def _calibrator(checks: Mapping[str, SetupCheck]) -> SheetStep:
    check = checks.get(Kind.CALIBRATOR_OFF)
    if check is None:
        return SheetStep("calibrator_off", "Calibrator off the circuit")
    is_off = is_calibrator_off(checks)
    detail = check_words(check) if is_off else "calibrated again since: confirm again"
    return SheetStep("calibrator_off", "Calibrator off the circuit", detail, is_off, not is_off)


def _safety(checks: Mapping[str, SetupCheck]) -> SheetStep:
    made = [checks.get(kind) for kind in SAFETY]
    done = [check for check in made if check is not None]
    detail = check_words(done[-1]) if len(done) == len(made) else f"{len(done)} of {len(made)} confirmed"
    return SheetStep("safety", "Area clear, earths, interlock", detail if done else "", len(done) == len(made))


def _stages(run: Run) -> list[SheetStep]:
    marks = {mark.stage: mark for mark in run.marks.all()}
    is_past = run.state not in (State.SETUP, State.ENERGISED)
    return [
        SheetStep(
            f"stage-{place}",
            f"{stage.title} {stage.set_point_kv:.4g} kV",
            marks[stage.name].get_outcome_display().lower() if stage.name in marks else "",
            stage.name in marks or is_past,
            stage=stage,
        )
        for place, stage in enumerate(stages_of(document_of(run)), start=1)
    ]


def stage_words(run: Run, step: SheetStep) -> dict[str, str]:
    """Return set point, band and limit of a stage as the bay reads them from two metres."""
    stage = step.stage
    if stage is None:
        return {}
    criteria = procedure_of(document_of(run)).get("criteria") or ()
    asks = any(row["quantity"] == "apparent_charge_pc" and row.get("stage") == stage.name for row in criteria)
    limit = charge_limit_pc(run.step.document) if asks else None
    return {
        "set_point": f"{stage.set_point_kv:.4g}",
        "band": f"{stage.low_kv:.4g} to {stage.high_kv:.4g} kV counts as held",
        "limit": f"Limit: at most {limit:g} pC." if limit is not None else "",
    }


def _ending(run: Run) -> list[SheetStep]:
    records = list(run.records.all())
    judged = run.state in (State.JUDGED, State.SIGNED, State.APPROVED)
    waits = any(record.state == Record.State.NEEDS_MAPPING for record in records)
    detail = records[-1].get_state_display().lower() if records else ""
    signed = [sign.get_capacity_display().lower() for sign in run.sign_offs.all()]
    noted = bool(run.remarks.all() or run.photos.all())
    return [
        *_values(run),
        SheetStep("record", "Record", detail, judged, waits and not judged),
        SheetStep("notes", "Remarks, photographs", _notes(run), noted, is_optional=True),
        SheetStep("sign", "Findings and signature", ", ".join(signed), run.state in (State.SIGNED, State.APPROVED)),
    ]


def _values(run: Run) -> list[SheetStep]:
    """Return the line of what the record does not hold, for the kinds that ask for such values."""
    asked, check = asked_on_sheet(run), latest_checks(run).get(Kind.TEST_VALUES)
    if not asked and check is None:
        return []
    is_needed = any(one.is_needed for one in asked)
    label = "Values that the record does not hold"
    detail = "" if check is None else values_in_words(run.step.kind, check.values) or "none"
    is_optional = not is_needed or run.state not in (State.ENERGISED, State.RECORDED, State.JUDGED)
    return [SheetStep("values", label, detail, check is not None, is_optional=is_optional)]


def _notes(run: Run) -> str:
    remarks, photos = len(run.remarks.all()), len(run.photos.all())
    said = [f"{remarks} remark{'s' * (remarks != 1)}"] if remarks else []
    return ", ".join([*said, *([f"{photos} photograph{'s' * (photos != 1)}"] if photos else [])])
