"""Invitations of witnesses: made, revoked, and used once to sign what was seen."""

from __future__ import annotations

import hashlib
import secrets
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password
from django.core.mail import send_mail
from django.db import transaction
from django.db.models import F
from django.urls import reverse
from django.utils import timezone

from labsite.ledger.services import record_entry, writing
from labsite.people.models import User
from labsite.people.roles import LABORATORY_ROLES, Role
from records.models import Run, SignOff, WitnessInvitation
from records.selectors.digests import run_digest
from records.services.lifecycle import require_role, required_text
from records.services.refusals import DigestMoved, Refused, ValueRefused

LONGEST_HOURS = 72
MOST_WRONG_CODES = 5
WITNESS_MEANING = "I witnessed this test and saw what this record shows."
_OPEN_STATES = (
    Run.State.SETUP,
    Run.State.ENERGISED,
    Run.State.RECORDED,
    Run.State.JUDGED,
    Run.State.SIGNED,
    Run.State.APPROVED,
)
_JUDGED_STATES = (Run.State.JUDGED, Run.State.SIGNED, Run.State.APPROVED)


class InvitationClosed(Refused):
    """The invitation was used, revoked, or has expired."""


class WrongCode(Refused):
    """The code is not the one that was given with the invitation."""


def secret_digest(secret: str) -> str:
    """Return the SHA-256 under which the link's secret is kept."""
    return hashlib.sha256(secret.encode()).hexdigest()


def invite_witness(
    *, run: Run, name: str, company: str, email: str, hours: int, site: str = "", by: Any
) -> tuple[WitnessInvitation, str, str]:
    """Invite a person to see one run and to sign; return invitation, link's secret and code, both shown once.

    The link goes by mail after commit; the code is told by another way. Only digests of both are kept. `site` is the
    address that the link begins with.
    """
    require_role(by, *LABORATORY_ROLES, words="Only the laboratory's own people may invite a witness.")
    printed = required_text(name, "Say who is invited: the name is printed with the signature.")
    if not 1 <= hours <= LONGEST_HOURS:
        raise ValueRefused(f"An invitation lasts from 1 to {LONGEST_HOURS} hours, not {hours}. Nobody was invited.")
    token, code = secrets.token_urlsafe(32), f"{secrets.randbelow(10**8):08d}"
    with writing():
        held = Run.objects.select_for_update(of=("self",)).get(pk=run.pk)
        if held.state not in _OPEN_STATES:
            raise Refused(f"Run {held.number} is abandoned; nobody can witness it. Nobody was invited.")
        invitation = WitnessInvitation.objects.create(
            run=held,
            name=printed,
            company=company.strip(),
            email=email.strip().lower(),
            user=_witness_account(email),
            token_digest=secret_digest(token),
            code_digest=make_password(code),
            expires_at=timezone.now() + timedelta(hours=hours),
            invited_by=by,
        )
        told = {
            "name": printed,
            "company": invitation.company,
            "email": invitation.email,
            "expires_at": invitation.expires_at,
        }
        changes = {field: [None, value] for field, value in told.items()}
        record_entry(action="run.invite_witness", subject=held, changes=changes, by=by)
        transaction.on_commit(lambda: _send(invitation, token, site), robust=True)
    return invitation, token, code


def _witness_account(email: str) -> User | None:
    return User.objects.holding(Role.WITNESS).filter(email=email.strip().lower()).first()


def _send(invitation: WitnessInvitation, token: str, site: str) -> None:
    address = site.rstrip("/") + reverse("portal:witness", args=[token])
    text = (
        f"{invitation.name},\n\n"
        f"you are invited to witness test run {invitation.run.number} and to sign what you saw:\n\n{address}\n\n"
        f"The link works until {invitation.expires_at:%d %B %Y, %H:%M} UTC and for one signature. "
        f"{invitation.invited_by.name} tells you the code that you sign with. "
        "If you did not expect this, do nothing.\n"
    )
    send_mail(f"Witness of test run {invitation.run.number}", text, settings.DEFAULT_FROM_EMAIL, [invitation.email])


def revoke_invitation(*, invitation: WitnessInvitation, reason: str = "", by: Any) -> WitnessInvitation:
    """End an invitation; a second time changes nothing. A signature that was given stands."""
    require_role(by, *LABORATORY_ROLES, words="Only the laboratory's own people may revoke an invitation.")
    with writing():
        held = _locked(invitation)
        if held.revoked_at is None:
            _revoke(held, reason, by)
    return held


def _revoke(held: WitnessInvitation, reason: str, by: Any) -> None:
    held.revoked_at = timezone.now()
    held.save(update_fields=["revoked_at"])
    changes = {"revoked_at": [None, held.revoked_at], "witness": [held.name, held.name]}
    record_entry(action="run.revoke_witness", subject=held.run, changes=changes, reason=reason, by=by)


def _locked(invitation: WitnessInvitation) -> WitnessInvitation:
    rows = WitnessInvitation.objects.select_for_update(of=("self",)).select_related("run")
    return rows.get(pk=invitation.pk)


def find_open_invitation(token: str) -> WitnessInvitation | None:
    """Return the invitation of a link that may still be signed, or None: used, revoked, expired, unknown."""
    rows = WitnessInvitation.objects.open_at(timezone.now()).filter(signed_at__isnull=True)
    return rows.select_related("run", "user").filter(token_digest=secret_digest(token)).first()


def check_code(*, invitation: WitnessInvitation, code: str) -> None:
    """Check the code that the witness signs with; every wrong one counts, and the fifth revokes the invitation."""
    tries = WitnessInvitation.objects.filter(
        pk=invitation.pk, failed_codes__lt=MOST_WRONG_CODES, revoked_at__isnull=True, signed_at__isnull=True
    )
    with writing():
        if not tries.update(failed_codes=F("failed_codes") + 1):
            raise InvitationClosed("This invitation is closed. Nothing was signed. Ask the laboratory for another one.")
    if check_password("".join(code.split()), invitation.code_digest):
        with writing():
            WitnessInvitation.objects.filter(pk=invitation.pk).update(failed_codes=0)
        return
    with writing():
        held = _locked(invitation)
        if held.failed_codes < MOST_WRONG_CODES or held.revoked_at is not None:
            left = MOST_WRONG_CODES - held.failed_codes
            raise WrongCode(f"This is not the code. Nothing was signed. Tries left: {left}.")
        _revoke(held, f"The code was wrong {MOST_WRONG_CODES} times.", held)
    raise InvitationClosed(
        f"The code was wrong {MOST_WRONG_CODES} times, so the invitation was revoked. Nothing was signed. "
        "Ask the laboratory for another one."
    )


def sign_as_witness(*, invitation: WitnessInvitation, digest: str, printed_name: str, by: Any) -> SignOff:
    """Sign once what the witness was shown. The caller has checked the code, or the account's password.

    Refuses an invitation that was used, revoked or has expired, a run without a verdict, and a digest that moved.
    """
    name = required_text(printed_name, "Type your name as it shall be printed. Nothing was signed.")
    with writing():
        held = _locked(invitation)
        now = timezone.now()
        if held.signed_at is not None or held.revoked_at is not None or held.expires_at <= now:
            raise InvitationClosed("This invitation was used, revoked, or has expired. Nothing was signed.")
        run = Run.objects.for_detail().get(pk=held.run_id)
        if run.state not in _JUDGED_STATES:
            raise Refused(f"Run {run.number} has no result yet. Nothing was signed; come back when it is judged.")
        if digest != run_digest(run):
            raise DigestMoved(f"Run {run.number} changed after you opened this page. Nothing was signed. Look again.")
        held.signed_at = now
        held.save(update_fields=["signed_at"])
        sign_off = SignOff.objects.create(
            run=run,
            capacity=SignOff.Capacity.WITNESS,
            meaning=WITNESS_MEANING,
            user=by if isinstance(by, User) else None,
            invitation=held,
            printed_name=name,
            digest=digest,
            signed_at=now,
        )
        changes = {"capacity": [None, "witness"], "printed_name": [None, name], "digest": [None, digest]}
        record_entry(action="run.sign_off", subject=run, changes=changes, by=by)
    return sign_off
