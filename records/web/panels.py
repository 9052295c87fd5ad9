"""What each line of the run sheet opens: its template, its form and what the form needs."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.http import HttpRequest
from django.urls import reverse
from django.utils.http import urlencode

from records.evaluation.parts import PARTS, part_named
from records.models import Record, Run
from records.models.procedure import injected_limits_pc, place_words, stated_values
from records.selectors import choices
from records.selectors.comparison import comparable_runs
from records.selectors.digests import current_evaluation, run_digest
from records.selectors.gates import SAFETY, latest_checks, missing_before_energising
from records.selectors.judgement import finding_rows, judged_files, what_needs_judgement
from records.selectors.scale_factors import drift_words
from records.selectors.sheet import SheetStep, stage_words
from records.selectors.stated import asked_on_sheet, value_rows
from records.services.series import series_of
from records.services.sign_offs import TESTER_MEANING
from records.web import forms, set_forms
from records.web.pictures import picture_context

Context = dict[str, Any]


def panel_context(request: HttpRequest, run: Run, step: SheetStep, bound: Any) -> Context:
    """Return template and content of the panel of one line."""
    name = "stage" if step.stage is not None else step.key
    context = PANELS[name](request, run, step)
    if bound is not None:
        context["form" if type(bound) is type(context.get("form")) else "refused_form"] = bound
    return {"panel": f"records/panels/{name}.html", **context}


def _conditions(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    names = ("temperature_c", "pressure_kpa", "relative_humidity_pct", "version")
    initial = {name: getattr(run, name) for name in names}
    return {"form": forms.ConditionsForm(initial=initial), "air": place_words(run)}


def _instruments(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    uses = list(run.instruments.all())
    return {
        "uses": uses,
        "form": forms.SystemForm(viewer=request.user),
        "instrument_form": forms.InstrumentForm(viewer=request.user, prefix=None),
        "take_out_form": forms.TakeOutForm(viewer=request.user, run=run) if uses else None,
        "override_form": forms.OverrideForm(run=run),
        "overdue": [use for use in uses if not use.is_valid and use.overridden_by_id is None],
    }


def _calibration(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    limits = injected_limits_pc(run.step.document)
    check = latest_checks(run).get("charge_calibration")
    form = forms.ChargeCalibrationForm()
    return {"form": form, "check": check, "injected": limits, "drift": drift_words(run)}


def _noise(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    return {"form": forms.NoiseForm(), "check": latest_checks(run).get("background_noise")}


def _scale(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    return {"form": forms.ScaleForm(), "check": latest_checks(run).get("voltage_scale")}


def _calibrator_off(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    return {"check": latest_checks(run).get("calibrator_off")}


def _safety(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    checks = latest_checks(run)
    return {"confirmations": [(kind, checks.get(kind)) for kind in SAFETY]}


def _open(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    return {"missing": missing_before_energising(run) if run.state == Run.State.SETUP else ()}


def _stage(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    return {"stage": step.stage, "air": place_words(run), **stage_words(run, step)}


def _values(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    asked = asked_on_sheet(run)
    return {"form": set_forms.ValuesForm(asked=asked, stated=stated_values(run)), "rows": value_rows(run)}


def _record(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    then = reverse("records:run", args=[run.pk])
    counting = {member.record.pk for member in series_of(run).members}
    rows = [_record_row(record, request, then) | {"counts": record.pk in counting} for record in run.records.all()]
    kind = run.step.kind
    lenders = comparable_runs(run, request.user) if any(part.is_lendable for part in PARTS[kind]) else ()
    lend = set_forms.LendForm(kind=kind, runs=lenders) if lenders else None
    has_parts = len(PARTS[kind]) > 1
    return {"rows": rows, "form": set_forms.RecordForm(kind=kind), "lend_form": lend, "has_parts": has_parts}


def _record_row(record: Record, request: HttpRequest, then: str) -> Context:
    job = choices.job_of(record, request.user) if record.state == Record.State.STORED else None
    address = f"{reverse('jobs:progress', args=[job.pk])}?{urlencode({'then': then})}" if job else ""
    part = part_named(record.run.step.kind, record.part)
    return {
        "record": record,
        "job": job,
        "address": address,
        "then": then,
        "part": part.words if part else record.part,
        "part_form": set_forms.PartForm(record=record),
        "aside_form": set_forms.AsideForm(record=record),
    }


def _notes(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    return {"form": forms.RemarkForm(), "photo_form": forms.PhotoForm()}


def _sign(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    evaluation = current_evaluation(run) if run.verdict else None
    digest = run_digest(run)
    return {
        "evaluation": evaluation,
        "judged": judged_files(evaluation),
        "findings": finding_rows(evaluation),
        "matters": what_needs_judgement(run),
        "digest": digest,
        "meaning": TESTER_MEANING,
        **picture_context(request, run, evaluation),
        "read_files": [record for record in run.records.all() if record.state == Record.State.READ],
        "form": forms.SignForm(request=request, initial={"digest": digest}),
    }


PANELS: Mapping[str, Callable[[HttpRequest, Run, SheetStep], Context]] = {
    "conditions": _conditions,
    "instruments": _instruments,
    "calibration": _calibration,
    "noise": _noise,
    "calibrator_off": _calibrator_off,
    "scale": _scale,
    "safety": _safety,
    "open": _open,
    "stage": _stage,
    "values": _values,
    "record": _record,
    "notes": _notes,
    "sign": _sign,
}
