"""Two customers' work side by side, one of everything, for walks over all addresses."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.utils import timezone
from PIL import Image

from equipment.models import MeasuringSystem
from labsite.jobs.models import Job, JobState
from labsite.people.models import User
from labsite.people.selectors import get_laboratory
from labsite.people.services import issue_token
from records.models import Certificate, Nonconformance, Record, Run, RunPhoto, SetupCheck, WitnessInvitation
from records.services.certificates import request_certificate
from schedules.models import Authorisation, Evidence, PackVersion, Unit, UnitPhoto
from schedules.rules.packs import SHIPPED
from schedules.services.packs import write_pack
from tests.integration.certificates import world
from tests.integration.planted_equipment import equipment_things

DIGEST = "a" * 64


@dataclass
class Planted:
    """What belongs to one customer, by the model's name; `marks` are words that only this work carries."""

    things: dict[str, Any]
    marks: tuple[str, ...] = field(default_factory=tuple)


def plant(customer: User, people: dict[str, User], letter: str) -> Planted:
    """Plant one customer's order, unit, plan, runs, record, certificate and all that hangs on them."""
    tester, approver = people["tester"], people["approver"]
    order = world.order_of(customer, tester, f"O-{letter}-0001")
    unit = world.unit_of(order, tester, f"SERIAL-{letter}-77")
    runs = world.tested(unit, tester, people["second"], approver)
    run = runs[0]
    SetupCheck.objects.filter(run__in=runs, kind="background_noise").update(values={"noise_pc": 4.0, "limit_pc": 50.0})
    certificate = _certificate(unit, approver)
    plan = unit.plans.get()
    now = timezone.now()
    job = Job.objects.create(
        name="records.evaluate_record", key=f"walk-{letter}", state=JobState.DONE, created_by=tester, created_at=now
    )
    laboratory = get_laboratory()
    laboratory.logo = default_storage.save("laboratory/walk.png", _picture())
    laboratory.save()
    token, _ = issue_token(user=customer, label="walk", by=people["administrator"])
    things: dict[str, Any] = {
        "pack": _pack(tester, letter),
        "pack_name": "ieee_c37_20_3_2013",
        "evidence": Evidence.objects.create(
            step=plan.steps.first(), source_step=plan.steps.last(), reason="Planted", cited_by=approver
        ),
        "bay": run.bay,
        "order": order,
        "unit": unit,
        "plan": plan,
        "step": plan.steps.first(),
        "arrangement": run.arrangement,
        "run": run,
        "record": Record.objects.filter(run=run).first(),
        "finding": run.evaluations.first().findings.first(),
        "run_instrument": run.instruments.first(),
        "instrument": run.instruments.first().instrument,
        "system": _system(run),
        "certificate": certificate,
        "nonconformance": Nonconformance.objects.create(run=run),
        "invitation": _invitation(run, tester, people["witness"], letter),
        "unit_photo": UnitPhoto.objects.create(unit=unit, image=_picture(), sha256=DIGEST, taken_by=tester),
        "run_photo": RunPhoto.objects.create(run=run, image=_picture(), sha256=DIGEST, taken_by=tester),
        "authorisation": _authorisation(tester, approver),
        "job": job,
        "user": customer,
        "token": token,
        "organisation": customer.organisation,
        "certificate_number": certificate.number,
        "link": "no-such-link",
        "export_form": "csv",
    }
    things |= equipment_things(things["instrument"], run, people["quality_manager"], letter)
    return Planted(things, (order.number, unit.serial, unit.number, run.number, certificate.number))


def _pack(tester: User, letter: str) -> PackVersion:
    """Return a pack of the laboratory's own, not yet confirmed."""
    content = (SHIPPED / "agreed_discharge_practice.toml").read_text(encoding="utf-8")
    return write_pack(name=f"own_pack_{letter.lower()}", content=f"# {letter}\n{content}", by=tester)


def _certificate(unit: Unit, approver: User) -> Certificate:
    """Return an issued certificate whose file is there; its content is the real document of the unit."""
    made = request_certificate(unit=unit, by=approver)
    path = default_storage.save(f"certificates/{made.number}.pdf", ContentFile(b"%PDF-1.7 walk"))
    Certificate.objects.filter(pk=made.pk).update(
        state=Certificate.State.ISSUED,
        issued_by=approver,
        issued_at=timezone.now(),
        path=path,
        draft_path=path,
        sha256=hashlib.sha256(b"%PDF-1.7 walk").hexdigest(),
    )
    return Certificate.objects.get(pk=made.pk)


def _picture() -> ContentFile:
    stream = io.BytesIO()
    Image.new("RGB", (8, 8)).save(stream, "PNG")
    return ContentFile(stream.getvalue(), name="walk.png")


def _system(run: Run) -> MeasuringSystem:
    return MeasuringSystem.objects.get_or_create(
        name="Voltage, walk",
        quantity="voltage",
        defaults={"assigned_on": timezone.localdate(), "relative_uncertainty_pct": 2.0},
    )[0]


def _invitation(run: Run, tester: User, witness: User, letter: str) -> WitnessInvitation:
    return WitnessInvitation.objects.create(
        run=run,
        name=witness.name,
        email=witness.email,
        user=witness,
        token_digest=letter.lower() * 64,
        code_digest=DIGEST,
        expires_at=timezone.now() + timedelta(hours=1),
        invited_by=tester,
    )


def _authorisation(user: User, by: User) -> Authorisation:
    today = timezone.localdate()
    return Authorisation.objects.create(
        user=user,
        kind="partial_discharge",
        activity="perform",
        valid_from=today,
        valid_until=today + timedelta(days=9),
        granted_by=by,
    )
