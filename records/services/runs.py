"""Starting a run, noting on its sheet, opening its energised stages, abandoning it."""

from __future__ import annotations

import hashlib
import io
from typing import Any

from django.core.files.base import ContentFile
from django.utils import timezone
from PIL import Image, UnidentifiedImageError

from labsite.ledger.services import change_fields, record_entry, writing
from labsite.people.roles import Role
from labsite.people.services.numbering import next_number
from records.models import Run, RunPhoto, RunRemark, StageMark
from records.models.procedure import stages_of
from records.selectors.gates import missing_before_energising
from records.services import lifecycle
from records.services.refusals import GateClosed, NotAuthorised, Refused, ValueRefused
from records.services.repeats import what_it_repeats
from schedules.models import Arrangement, Bay
from schedules.selectors import authorised

_PHOTO_BYTES = 20 * 2**20
_RANGES = {
    "temperature_c": (-60.0, 70.0, "°C"),
    "pressure_kpa": (50.0, 115.0, "kPa"),
    "relative_humidity_pct": (0.0, 100.0, "%"),
}


def start_run(
    *,
    arrangement: Arrangement,
    bay: Bay,
    operator: Any,
    second_person: Any,
    by: Any,
    repeats: Run | None = None,
    repeat_reason: str = "",
) -> Run:
    """Number and open a run.

    Refuses a plan that is not current, an order without its contract review, an unreleased hold point before the step,
    an operator who is not authorised today, and an arrangement that already has a run that stands or is open.
    """
    lifecycle.require_role(by, Role.TESTER, words="Only a tester may start a run.")
    step = arrangement.step
    if operator.pk == second_person.pk:
        raise ValueRefused("The second person must be another person than the operator.")
    if not (operator.is_laboratory and second_person.is_laboratory):
        raise ValueRefused("Operator and second person must both belong to the laboratory.")
    with writing():
        _require_ready(arrangement)
        today = timezone.localdate()
        answer = authorised(operator, step.kind, "perform", today)
        if not answer.is_authorised:
            raise NotAuthorised(
                f"{answer.reason} Choose another operator, or ask the quality manager for the authorisation."
            )
        previous, reason = what_it_repeats(arrangement, repeats, repeat_reason)
        run = Run.objects.create(
            number=next_number(series="run", year=today.year),
            step=step,
            arrangement=arrangement,
            bay=bay,
            operator=operator,
            second_person=second_person,
            started_at=timezone.now(),
            repeats=previous,
            repeat_reason=reason,
        )
        told = {"operator": [None, str(operator)], "second_person": [None, str(second_person)], "bay": [None, bay.name]}
        told |= {"step": [None, step.title], "arrangement": [None, arrangement.name]}
        if previous is not None:
            told["repeats"] = [None, previous.number]
        record_entry(action="run.start", subject=run, changes=told, reason=reason, by=by)
        return run


def _require_ready(arrangement: Arrangement) -> None:
    step = arrangement.step
    plan = step.plan
    if not plan.is_current:
        raise Refused(f"Plan {plan.revision} of {plan.unit} was replaced by a later one. Start from the current plan.")
    order = plan.unit.order
    if not order.is_reviewed:
        raise Refused(f"The contract review of order {order.number} is not done. Review it before testing begins.")
    held = plan.steps.filter(position__lt=step.position, point="hold", released_at__isnull=True).first()
    if held is not None:
        raise Refused(
            f"The hold point “{held.title}” before this step is not released. Release it, then start the run."
        )


def record_conditions(
    *, run: Run, temperature_c: float, pressure_kpa: float, relative_humidity_pct: float, version: int, by: Any
) -> Run:
    """Note the ambient conditions; refuses values that no laboratory on earth has."""
    values = {
        "temperature_c": temperature_c,
        "pressure_kpa": pressure_kpa,
        "relative_humidity_pct": relative_humidity_pct,
    }
    for name, (low, high, unit) in _RANGES.items():
        if not low <= values[name] <= high:
            raise ValueRefused(f"{values[name]:g} {unit} is outside {low:g} to {high:g} {unit}. Check value and unit.")
    with writing():
        held = lifecycle.locked(run)
        lifecycle.require(held, "prepare")
        lifecycle.require_person_of(held, by)
        return change_fields(instance=held, version=version, changes=values, action="run.conditions", by=by)


def open_energised_stages(*, run: Run, by: Any) -> Run:
    """Open the energised stages; refuses with every lack in words where anything is missing."""
    with writing():
        held = lifecycle.locked(run)
        lifecycle.require(held, "open_stages")
        lifecycle.require_person_of(held, by)
        missing = missing_before_energising(held)
        if missing:
            raise GateClosed("The energised stages stay closed. " + " ".join(missing), missing)
        lifecycle.move(held, "open_stages", by=by)
        return held


def mark_stage(*, run: Run, stage: str, outcome: str, by: Any) -> StageMark:
    """Note what the operator saw of one stage; the record decides."""
    if outcome not in StageMark.Outcome.values:
        raise ValueRefused(f"“{outcome}” is no outcome of a stage.")
    with writing():
        held = lifecycle.locked(run)
        lifecycle.require(held, "mark_stage")
        lifecycle.require_person_of(held, by)
        if stage not in {planned.name for planned in stages_of(held.step.document)}:
            raise ValueRefused(f"The plan of this step has no stage “{stage}”.")
        mark = StageMark.objects.create(run=held, stage=stage, outcome=outcome, marked_by=by)
        told = {"stage": [None, stage], "outcome": [None, outcome]}
        record_entry(action="run.mark_stage", subject=held, changes=told, by=by)
        return mark


def add_remark(*, run: Run, text: str, by: Any) -> RunRemark:
    """Write a remark on the run sheet, until the run is approved."""
    words = lifecycle.required_text(text, "Write the remark first; nothing was added.")
    lifecycle.require_role(by, *lifecycle.LABORATORY, words="Only the laboratory's people write on a run sheet.")
    with writing():
        held = lifecycle.locked(run)
        lifecycle.require(held, "note")
        remark = RunRemark.objects.create(run=held, text=words, made_by=by)
        record_entry(action="run.remark", subject=held, changes={"remark": [None, words]}, by=by)
        return remark


def add_photo(*, run: Run, file: Any, caption: str = "", by: Any) -> RunPhoto:
    """Keep a photograph (JPEG, PNG or WebP, at most 20 MB) under a name of its own digest."""
    lifecycle.require_role(by, *lifecycle.LABORATORY, words="Only the laboratory's people add photographs.")
    content = file.read(_PHOTO_BYTES + 1)
    if len(content) > _PHOTO_BYTES:
        raise ValueRefused("The photograph is larger than 20 MB. Save it smaller; nothing else was changed.")
    suffix = _photo_suffix(content)
    sha256 = hashlib.sha256(content).hexdigest()
    with writing():
        held = lifecycle.locked(run)
        lifecycle.require(held, "note")
        photo = RunPhoto(run=held, sha256=sha256, caption=caption.strip()[:200], taken_by=by)
        photo.image.save(f"{sha256}{suffix}", ContentFile(content), save=False)
        photo.save()
        told = {"photograph": [None, sha256], "caption": [None, photo.caption]}
        record_entry(action="run.photograph", subject=held, changes=told, by=by)
        return photo


def _photo_suffix(content: bytes) -> str:
    try:
        with Image.open(io.BytesIO(content)) as image:
            image.verify()
            kind = image.format
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError) as fault:
        raise ValueRefused("The file is no photograph that can be read. Give a JPEG, PNG or WebP file.") from fault
    suffixes = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp"}
    if kind not in suffixes:
        raise ValueRefused(f"A {kind} file is not kept as a photograph. Give a JPEG, PNG or WebP file.")
    return suffixes[kind]


def abandon_run(*, run: Run, reason: str, by: Any) -> Run:
    """End a run that will not be finished, with a reason; the arrangement is then open again."""
    words = lifecycle.required_text(reason, "Say why the run is abandoned; nothing was changed.")
    with writing():
        held = lifecycle.locked(run)
        lifecycle.require(held, "abandon")
        if not by.has_role(Role.APPROVER, Role.QUALITY_MANAGER):
            lifecycle.require_person_of(held, by)
        lifecycle.move(held, "abandon", changes={"abandon_reason": words}, reason=words, by=by)
        return held
