"""Pages of certificates: what each role is shown and refused, the signature, and the public verification."""

from __future__ import annotations

import hashlib

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from labsite.jobs.models import Job
from labsite.jobs.services import run_waiting
from records.models import Certificate, WitnessInvitation
from records.services.certificates import request_certificate, withdraw_certificate
from records.services.storing import absolute
from tests.people import PASSWORD

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("quick_typesetting")]


def test_from_the_request_to_the_issued_file_through_pages(client, unit, runs, approver):
    client.force_login(approver)
    response = client.post(reverse("records:certificate-request", args=[unit.pk]))
    certificate = Certificate.objects.get()
    assert response.url == reverse("records:certificate", args=[certificate.pk])
    assert "Waiting for a worker" in client.get(response.url).content.decode()
    run_waiting()
    page = client.get(response.url).content.decode()
    assert "Next: read the draft, sign it, issue it" in page
    assert certificate.document_digest in page
    issue = reverse("records:certificate-issue", args=[certificate.pk])
    told = {"digest": certificate.document_digest, "password": "wrong"}
    refused = client.post(issue, told)
    assert refused.status_code == 422
    assert "This is not your password. Nothing was done" in refused.content.decode()
    assert client.post(issue, {**told, "password": PASSWORD, "digest": "0" * 64}).status_code == 409
    assert client.post(issue, {**told, "password": PASSWORD}).status_code == 302
    run_waiting()
    certificate.refresh_from_db()
    answer = client.get(reverse("records:certificate-file", args=[certificate.pk]))
    assert hashlib.sha256(b"".join(answer.streaming_content)).hexdigest() == certificate.sha256


def test_what_is_missing_is_listed(client, unit, approver):
    client.force_login(approver)
    response = client.post(reverse("records:certificate-request", args=[unit.pk]))
    assert response.status_code == 409
    assert response.content.decode().count("no approved run that judged the unit") == 6
    assert Certificate.objects.count() == 0


OTHERS = [("tester", 403), ("quality_manager", 403), ("administrator", 403), ("customer", 404), ("witness", 404)]


@pytest.mark.parametrize(("who", "status"), OTHERS)
def test_only_an_approver_acts(client, request, draft, who, status):
    client.force_login(request.getfixturevalue(who))
    told = {"digest": draft.document_digest, "password": PASSWORD, "amend-reason": "x", "withdraw-reason": "x"}
    for name in ("certificate-issue", "certificate-amend", "certificate-withdraw"):
        assert client.post(reverse(f"records:{name}", args=[draft.pk]), told).status_code == status
    assert client.post(reverse("records:certificate-request", args=[draft.unit_id])).status_code == status
    draft.refresh_from_db()
    assert draft.state == "draft"


def test_amend_and_withdraw_through_pages(client, issued, approver):
    client.force_login(approver)
    amend = reverse("records:certificate-amend", args=[issued.pk])
    assert client.post(amend, {"amend-reason": ""}).status_code == 422
    response = client.post(amend, {"amend-reason": "Serial corrected."})
    amendment = Certificate.objects.get(replaces=issued)
    assert response.url == reverse("records:certificate", args=[amendment.pk])
    assert client.post(amend, {"amend-reason": "Again."}).status_code == 409
    client.post(reverse("records:certificate-withdraw", args=[issued.pk]), {"withdraw-reason": "Wrong divider."})
    page = client.get(reverse("records:certificate", args=[issued.pk])).content.decode()
    assert "Wrong divider." in page
    assert "Withdrawn, no longer valid" in page


def test_a_failed_composition_can_be_started_again(client, unit, runs, approver, monkeypatch):
    certificate = request_certificate(unit=unit, by=approver)
    Job.objects.update(state="failed", words="WeasyPrint needs Pango: apt-get install …")
    client.force_login(approver)
    page = client.get(reverse("records:certificate", args=[certificate.pk])).content.decode()
    assert "WeasyPrint needs Pango" in page
    assert "Start it again" in page


def test_the_list_finds_by_number_serial_order_and_customer(client, issued, tester):
    client.force_login(tester)
    for words in (issued.number, "0042", "O-2026-0001", "fennmark"):
        assert issued.number in client.get(reverse("records:certificates"), {"q": words}).content.decode()
    page = client.get(reverse("records:certificates"), {"q": "nothing like it"}).content.decode()
    assert "No certificate found" in page


def test_the_public_page_tells_number_state_digest_and_date_only(client, issued, approver):
    address = reverse("records:verify", args=[issued.number])
    page = client.get(address).content.decode()
    for shown in (issued.number, "Issued", issued.document_digest, issued.sha256):
        assert shown in page
    for hidden in ("Fennmark", "MES-15-0042", "O-2026-0001", "Amara", "Tove", "Quayside"):
        assert hidden not in page
    withdraw_certificate(certificate=issued, reason="Secret quarrel.", by=approver)
    page = client.get(address).content.decode()
    assert "Withdrawn, no longer valid" in page
    assert "quarrel" not in page


def test_the_public_page_compares_a_file_or_a_digest(client, issued):
    address = reverse("records:verify", args=[issued.number])
    content = absolute(issued.path).read_bytes()
    same = client.post(address, {"file": SimpleUploadedFile("any.pdf", content)}).content.decode()
    assert "byte for byte" in same
    other = client.post(address, {"file": SimpleUploadedFile("any.pdf", content + b" ")}).content.decode()
    assert "It is not the same" in other
    spaced = " ".join(issued.document_digest[i : i + 8] for i in range(0, 64, 8)).upper()
    assert "content that was signed" in client.post(address, {"digest": spaced}).content.decode()
    assert client.post(address, {"digest": "abc"}).status_code == 422
    assert client.post(address, {}).status_code == 422


def test_drafts_and_guesses_are_not_known_in_public(client, draft):
    for number in (draft.number, "C-1999-0001", "a/b", "%27"):
        response = client.get(reverse("records:verify", args=[number]))
        assert response.status_code == 404
        assert "is not known" in response.content.decode()
    assert client.get(reverse("records:verify-start"), {"number": draft.number}).status_code == 302


def test_a_witness_is_invited_and_revoked_through_the_page(client, runs, tester, customer):
    client.force_login(tester)
    address = reverse("records:witnesses", args=[runs[0].pk])
    told = {"name": "Wanda Ilves", "company": "", "email": "wanda@x.example", "hours": 24}
    assert client.post(address, {**told, "hours": 90}).status_code == 422
    page = client.post(address, told).content.decode()
    assert "Tell Wanda Ilves this code" in page
    invitation = WitnessInvitation.objects.get()
    assert "this code" not in client.get(address).content.decode()
    client.post(reverse("records:witness-revoke", args=[invitation.pk]))
    invitation.refresh_from_db()
    assert invitation.revoked_at is not None
    client.force_login(customer)
    assert client.get(address).status_code == 404
