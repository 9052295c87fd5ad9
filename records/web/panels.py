"""What each line of the run sheet opens: its template, its form and what the form needs."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.http import HttpRequest
from django.urls import reverse
from django.utils.http import urlencode

from records.charts import described, pattern_words
from records.models import Record, Run
from records.models.procedure import injected_limits_pc, place_words
from records.selectors import choices
from records.selectors.digests import current_evaluation, run_digest
from records.selectors.gates import DISCHARGE, SAFETY, latest_checks, missing_before_energising
from records.selectors.judgement import finding_rows, what_needs_judgement
from records.selectors.scale_factors import drift_words
from records.selectors.sheet import SheetStep, stage_words
from records.services.sign_offs import TESTER_MEANING
from records.web import forms

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


def _record(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    then = reverse("records:run", args=[run.pk])
    rows = [_record_row(record, request, then) for record in run.records.all()]
    return {"rows": rows, "form": forms.RecordForm()}


def _record_row(record: Record, request: HttpRequest, then: str) -> Context:
    job = choices.job_of(record, request.user) if record.state == Record.State.STORED else None
    address = f"{reverse('jobs:progress', args=[job.pk])}?{urlencode({'then': then})}" if job else ""
    return {"record": record, "job": job, "address": address, "then": then}


def _notes(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    return {"form": forms.RemarkForm(), "photo_form": forms.PhotoForm()}


def _sign(request: HttpRequest, run: Run, step: SheetStep) -> Context:
    evaluation = current_evaluation(run)
    digest = run_digest(run)
    return {
        "evaluation": evaluation,
        "findings": finding_rows(evaluation),
        "matters": what_needs_judgement(run),
        "digest": digest,
        "meaning": TESTER_MEANING,
        "picture_words": described(evaluation) if evaluation else "",
        "has_charge": run.step.kind == DISCHARGE,
        "pattern_words": pattern_words(evaluation),
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
    "record": _record,
    "notes": _notes,
    "sign": _sign,
}
