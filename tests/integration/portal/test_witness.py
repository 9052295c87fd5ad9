"""A witness sees the one run in the invitation, signs once over what was shown, and every other way is closed."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from labsite.ledger.models import Entry
from records.models import Run, SignOff, WitnessInvitation
from records.selectors.digests import run_digest
from records.services.certificates import request_certificate
from records.services.invitations import invite_witness, revoke_invitation
from records.services.refusals import Refused, ValueRefused
from tests.people import PASSWORD

pytestmark = pytest.mark.django_db


@pytest.fixture
def run(runs):
    """Return the run to be witnessed, signed by its tester and not approved yet."""
    Run.objects.filter(pk=runs[0].pk).update(state="signed")
    return Run.objects.for_detail().get(pk=runs[0].pk)


@pytest.fixture
def invited(run, tester):
    """Return invitation, link and code of a witness without an account."""
    invitation, token, code = invite_witness(
        run=run, name="Wanda Ilves", company="Fennmark Power (invented)", email="wanda@fennmark.example", hours=24,
        site="https://lab.example", by=tester,
    )  # fmt: skip
    return invitation, reverse("portal:witness", args=[token]), code


def _sign(client, address, run, code, **more):
    told = {"printed_name": "Wanda Ilves", "code": code, "digest": run_digest(run), **more}
    return client.post(address, told)


def test_only_digests_of_the_secrets_are_kept(invited):
    invitation, address, code = invited
    token = address.rstrip("/").rsplit("/", 1)[-1]
    assert len(token) == 43  # 256 bits in base64url without padding
    assert re.fullmatch(r"\d{8}", code)
    stored = WitnessInvitation.objects.values().get(pk=invitation.pk)
    kept = " ".join(str(value) for value in stored.values())
    told = " ".join(str(entry.content()) for entry in Entry.objects.all())
    for secret in (token, code):
        assert secret not in kept
        assert secret not in told


@pytest.mark.django_db(transaction=True)
def test_the_mail_carries_the_link_and_not_the_code(invited, mailoutbox):
    _, address, code = invited
    (mail,) = mailoutbox
    assert mail.to == ["wanda@fennmark.example"]
    assert f"https://lab.example{address}" in mail.body
    assert code not in mail.body


def test_the_page_shows_the_run_and_signs_it_once(client, invited, run):
    invitation, address, code = invited
    page = client.get(address)
    assert page.status_code == 200
    text = page.content.decode()
    for shown in (run.number, "MES-15-0042", "phase A", "Voltage held", "data:image/svg+xml;base64,", run_digest(run)):
        assert shown in text
    assert (page["Cache-Control"], page["Referrer-Policy"]) == ("no-store", "same-origin")
    assert SignOff.objects.filter(capacity="witness").count() == 0
    response = _sign(client, address, run, code)
    assert response.status_code == 200
    assert "Thank you, it is signed" in response.content.decode()
    sign_off = SignOff.objects.get(capacity="witness")
    assert (sign_off.run, sign_off.invitation, sign_off.user) == (run, invitation, None)
    assert (sign_off.printed_name, sign_off.digest) == ("Wanda Ilves", run_digest(run))
    assert client.get(address).status_code == 404
    assert _sign(client, address, run, code).status_code == 404
    assert SignOff.objects.filter(capacity="witness").count() == 1
    entry = Entry.objects.filter(action="run.sign_off").latest("sequence")
    assert entry.actor_label == "Wanda Ilves <wanda@fennmark.example> (witness)"


def test_the_witness_sees_whole_counts_and_what_is_only_reported(client, invited):
    page = re.sub(r"\s+", " ", client.get(invited[1]).content.decode())
    rows = re.findall(r"<tr><th scope=\"row\">.*?</tr>", page)
    count = next(row for row in rows if "Disruptive discharges" in row)
    assert re.search(r'<td data-label="Result"[^>]*>0</td>', count)
    told = [row for row in rows if "reported only" in row]
    assert told
    assert all(re.search(r"<td[^>]*>reported</td>", row) and "Conforms" not in row for row in told)


def test_five_wrong_codes_revoke(client, invited, run):
    invitation, address, code = invited
    wrong = f"{(int(code) + 1) % 10**8:08d}"
    answers = [_sign(client, address, run, wrong) for _ in range(5)]
    assert [answer.status_code for answer in answers] == [409, 409, 409, 409, 404]
    assert "Tries left: 1." in answers[3].content.decode()
    invitation.refresh_from_db()
    assert invitation.revoked_at is not None
    assert _sign(client, address, run, code).status_code == 404
    assert SignOff.objects.filter(capacity="witness").count() == 0


def test_expired_revoked_and_guessed_links_find_nothing(client, invited, run, tester):
    invitation, address, code = invited
    for guess in ("x", "A" * 43, str(invitation.pk), invitation.token_digest):
        assert client.get(reverse("portal:witness", args=[guess])).status_code == 404
    WitnessInvitation.objects.filter(pk=invitation.pk).update(expires_at=timezone.now() - timedelta(seconds=1))
    assert client.get(address).status_code == 404
    assert _sign(client, address, run, code).status_code == 404
    WitnessInvitation.objects.filter(pk=invitation.pk).update(expires_at=timezone.now() + timedelta(hours=1))
    assert client.get(address).status_code == 200
    revoke_invitation(invitation=invitation, reason="Other person comes.", by=tester)
    assert client.get(address).status_code == 404
    assert _sign(client, address, run, code).status_code == 404
    assert SignOff.objects.filter(capacity="witness").count() == 0


def test_what_changed_meanwhile_is_not_signed(client, invited, run):
    _, address, code = invited
    digest = run_digest(run)
    Run.objects.filter(pk=run.pk).update(temperature_c=30)
    response = client.post(address, {"printed_name": "Wanda Ilves", "code": code, "digest": digest})
    assert response.status_code == 409
    assert "changed after you opened this page" in response.content.decode()
    assert client.get(address).status_code == 200
    assert SignOff.objects.filter(capacity="witness").count() == 0


def test_a_run_without_a_result_can_be_seen_and_not_signed(client, invited, run):
    _, address, code = invited
    Run.objects.filter(pk=run.pk).update(state="energised")
    assert "Nothing to sign yet" in client.get(address).content.decode()
    assert _sign(client, address, run, code).status_code == 409


def test_an_invitation_has_bounds(run, tester, customer):
    for hours in (0, 73):
        with pytest.raises(ValueRefused):
            invite_witness(run=run, name="W", company="", email="w@x.example", hours=hours, by=tester)
    with pytest.raises(PermissionDenied):
        invite_witness(run=run, name="W", company="", email="w@x.example", hours=1, by=customer)
    Run.objects.filter(pk=run.pk).update(state="abandoned")
    with pytest.raises(Refused):
        invite_witness(run=run, name="W", company="", email="w@x.example", hours=1, by=tester)
    assert WitnessInvitation.objects.count() == 0


def test_a_witness_with_an_account_signs_with_the_password(client, witness, run, runs, tester, other_customer):
    invitation, _, _ = invite_witness(
        run=run, name=witness.name, company="", email=witness.email.upper(), hours=24, by=tester
    )
    assert invitation.user == witness
    foreign, _, _ = invite_witness(run=runs[1], name="Else", company="", email="else@x.example", hours=24, by=tester)
    client.force_login(witness)
    home = client.get(reverse("portal:home")).content.decode()
    assert run.number in home
    assert runs[1].number not in home
    address = reverse("portal:invitation", args=[invitation.pk])
    assert client.get(reverse("portal:invitation", args=[foreign.pk])).status_code == 404
    told = {"printed_name": witness.name, "digest": run_digest(run), "password": "not this one"}
    assert client.post(address, told).status_code == 422
    assert client.post(address, {**told, "password": PASSWORD}).status_code == 200
    assert SignOff.objects.get(capacity="witness").user == witness
    assert client.get(address).status_code == 404
    client.force_login(other_customer)
    assert client.get(address).status_code == 404


def test_the_certificate_prints_the_witness(client, invited, run, runs, approver):
    _, address, code = invited
    _sign(client, address, run, code)
    Run.objects.filter(pk=run.pk).update(state="approved")
    document = request_certificate(unit=run.step.plan.unit, by=approver).document
    printed = [row for row in document["runs"][0]["sign_offs"] if row["capacity"] == "Witness"]
    assert [row["printed_name"] for row in printed] == ["Wanda Ilves"]
