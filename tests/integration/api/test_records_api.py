"""The API of runs, records and certificates: token, once-key, visibility, words."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from labsite.people.services import issue_token
from records.models import Record, Run
from records.services.storing import absolute
from tests.answers import let_go
from tests.integration.certificates import world

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("quick_typesetting")]
CONTENT = b"Time (s),Voltage (kV)\n0,0\n1,1\n2,2\n"


def _header(person):
    return {"Authorization": f"Token {issue_token(user=person, label='bench', by=person)[1]}"}


@pytest.fixture
def open_run(runs):
    """Return a run that waits for its record."""
    run = runs[0]
    Run.objects.filter(pk=run.pk).update(state="energised", verdict="")
    return run


def _post(client, run, header, content=CONTENT, **more):
    file = SimpleUploadedFile("bench.csv", content)
    return client.post(f"/api/runs/{run.pk}/records/", {"file": file}, headers={**header, **more})


def test_sixteen_posts_under_one_key_make_one_record(client, open_run, tester):
    header = _header(tester)
    before = Record.objects.filter(run=open_run).count()
    answers = [_post(client, open_run, header, **{"Idempotency-Key": "bench-1"}) for _ in range(16)]
    assert {answer.status_code for answer in answers} == {201}
    assert {answer.json()["record"]["id"] for answer in answers} == {Record.objects.latest("pk").pk}
    assert Record.objects.filter(run=open_run).count() == before + 1
    record = Record.objects.latest("pk")
    assert absolute(record.path).read_bytes() == CONTENT
    again = _post(client, open_run, header, **{"Idempotency-Key": "bench-2"})
    assert (again.status_code, again.json()["is_new"]) == (200, False)
    assert Record.objects.filter(run=open_run).count() == before + 1


def test_an_upload_without_a_key_is_refused_in_words(client, open_run, tester):
    before = Record.objects.count()
    answer = _post(client, open_run, _header(tester))
    assert answer.status_code == 400
    assert answer.json()["detail"].startswith("Send the header Idempotency-Key")
    assert Record.objects.count() == before


@pytest.mark.parametrize(("who", "status"), [("approver", 403), ("customer", 404), ("other_customer", 404)])
def test_who_does_not_perform_the_run_uploads_nothing(client, request, open_run, who, status):
    before = Record.objects.count()
    answer = _post(client, open_run, _header(request.getfixturevalue(who)), **{"Idempotency-Key": "k"})
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/json"
    assert Record.objects.count() == before


def test_empty_too_large_and_late_uploads_say_why(client, open_run, runs, tester, settings):
    header = _header(tester)
    answer = _post(client, open_run, header, b"", **{"Idempotency-Key": "a"})
    assert answer.status_code == 400
    assert "is empty: 0 bytes" in answer.json()["detail"]
    answer = _post(client, runs[1], header, **{"Idempotency-Key": "b"})
    assert answer.status_code == 409
    assert "stands at “Approved”" in answer.json()["detail"]
    settings.UPLOAD_LIMIT_BYTES = 2**20
    answer = _post(client, open_run, header, b"x" * (2**20 + 2**17), **{"Idempotency-Key": "c"})
    assert answer.status_code == 413
    assert "One record may have 1 MB" in answer.json()["detail"]


def test_without_a_token_nothing_is_told(client, issued):
    for address in (
        "/api/runs/",
        f"/api/certificates/{issued.pk}/",
        f"/api/certificates/{issued.pk}/file/",
        "/api/schema/",
    ):
        answer = client.get(address)
        assert answer.status_code == 401
        assert issued.number not in answer.content.decode()
    assert client.get("/api/runs/", headers={"Authorization": "Token guessed"}).status_code == 401


def test_a_customer_reads_the_own_and_no_other(client, customer, other_customer, approver, issued, runs):
    foreign = world.unit_of(world.order_of(other_customer, approver, "O-2026-0666"), approver, "OXBOW-SECRET-1")
    mine, theirs = _header(customer), _header(other_customer)
    record = runs[0].records.get()
    addresses = [
        f"/api/runs/{runs[0].pk}/", f"/api/runs/{runs[0].pk}/findings/", f"/api/records/{record.pk}/",
        f"/api/records/{record.pk}/file/", f"/api/certificates/{issued.pk}/", f"/api/certificates/{issued.pk}/file/",
    ]  # fmt: skip
    for address in addresses:
        for header, status in ((mine, 200), (theirs, 404)):
            answer = client.get(address, headers=header)
            let_go(answer)
            assert answer.status_code == status, address
    for address in (
        "/api/runs/",
        "/api/records/",
        "/api/certificates/",
        f"/api/runs/?unit={runs[0].step.plan.unit_id}",
    ):
        assert client.get(address, headers=theirs).json()["count"] == 0
    assert client.get("/api/runs/", headers=mine).json()["count"] == 6
    assert "OXBOW" not in client.get("/api/units/", headers=mine).content.decode()
    assert client.get(f"/api/units/{foreign.pk}/", headers=mine).status_code == 404
    assert client.get("/api/instruments/", headers=mine).status_code == 404


def test_a_draft_and_an_unapproved_run_stay_inside(client, customer, draft, runs):
    Run.objects.filter(pk=runs[0].pk).update(state="signed")
    header = _header(customer)
    assert client.get(f"/api/certificates/{draft.pk}/", headers=header).status_code == 404
    assert client.get(f"/api/runs/{runs[0].pk}/", headers=header).status_code == 404
    assert client.get(f"/api/records/{runs[0].records.get().pk}/", headers=header).status_code == 404


def test_findings_carry_value_unit_uncertainty_limit_rule_and_verdict(client, tester, runs):
    rows = client.get(f"/api/runs/{runs[0].pk}/findings/", headers=_header(tester)).json()
    held = next(row for row in rows if row["quantity"] == "held_voltage_kv")
    assert (held["unit"], held["min"], held["max"]) == ("kV", 49.5, 50.5)  # 50 kV ± 1 %
    assert held["expanded_uncertainty"] > 0
    assert (held["decision"], held["verdict"], held["judges"]) == ("simple_acceptance", "conforms", "test")


def test_the_description_needs_sign_in_and_names_every_room(client, tester):
    answer = client.get("/api/schema/", headers=_header(tester))
    assert answer.status_code == 200
    text = answer.content.decode()
    for room in ("orders", "units", "plans", "runs", "records", "certificates", "instruments"):
        assert f"/api/{room}/:" in text
    assert "Idempotency-Key" in text


def test_odd_filters_find_nothing_and_fail_nothing(client, tester, runs):
    header = _header(tester)
    for query in ("unit=abc", "unit=-1", "unit=²", "state=nowhere"):
        assert client.get(f"/api/runs/?{query}", headers=header).json()["count"] == 0
    assert client.get("/api/runs/?state=approved", headers=header).json()["count"] == 6
