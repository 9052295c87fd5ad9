"""What may be chosen on the pages of a run."""

from __future__ import annotations

from typing import Any

from django.db.models import Q, QuerySet
from django.utils import timezone

from equipment.models import Instrument, MeasuringSystem
from labsite.jobs.models import Job
from labsite.people.models import User
from labsite.people.roles import LABORATORY_ROLES, Role
from records.models import Record, Run
from schedules.models import Arrangement, Bay, Step

JOB_KEY = "records.evaluate_record"


def arrangements_visible_to(viewer: Any) -> QuerySet[Arrangement]:
    """Return the arrangements of the steps that the viewer may see."""
    steps = Step.objects.visible_to(viewer)
    return Arrangement.objects.filter(step__in=steps).select_related("step__plan__unit__order__customer")


def operators(viewer: Any) -> QuerySet[User]:
    """Return who may operate a run."""
    return User.objects.visible_to(viewer).holding(Role.TESTER).order_by("name")


def second_persons(viewer: Any) -> QuerySet[User]:
    """Return who may be the second person of a run."""
    return User.objects.visible_to(viewer).holding(*LABORATORY_ROLES).order_by("name")


def bays(viewer: Any) -> QuerySet[Bay]:
    """Return the bays."""
    return Bay.objects.visible_to(viewer)


def systems(viewer: Any) -> QuerySet[MeasuringSystem]:
    """Return the measuring systems that are assigned today."""
    open_today = Q(ended_on__isnull=True) | Q(ended_on__gt=timezone.localdate())
    return MeasuringSystem.objects.visible_to(viewer).filter(open_today)


def instruments(viewer: Any) -> QuerySet[Instrument]:
    """Return the instruments that are not retired."""
    return Instrument.objects.visible_to(viewer).exclude(state=Instrument.State.RETIRED)


def instruments_of(run: Run, viewer: Any) -> QuerySet[Instrument]:
    """Return the instruments that a run uses."""
    return Instrument.objects.visible_to(viewer).filter(uses__run=run)


def job_of(record: Record, viewer: Any) -> Job | None:
    """Return the last evaluation job of a record, or None."""
    jobs = Job.objects.visible_to(viewer).filter(key__startswith=f"{JOB_KEY}:{record.pk}:")
    return jobs.order_by("-created_at").first()


def last_run_of(arrangement: Arrangement, viewer: Any) -> Run | None:
    """Return the last run of an arrangement, which a new one would repeat, or None."""
    return Run.objects.visible_to(viewer).filter(arrangement=arrangement).order_by("-pk").first()
