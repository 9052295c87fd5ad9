"""One form posted again and again is carried out once and always answered alike."""

from __future__ import annotations

import pytest
from django.contrib.auth.decorators import login_not_required
from django.db import OperationalError
from django.http import HttpResponse, HttpResponseRedirect, JsonResponse
from django.test import Client
from django.urls import path

from labsite.ledger import answers
from labsite.ledger.models import Entry, Submission
from labsite.ledger.services import StaleEdit, record_entry, writing


def _deed() -> Entry:
    with writing():
        return record_entry(action="demo.deed", subject=("demo.thing", 1, "Thing"), by="A. Witness")


@login_not_required
def form(request):
    entry = _deed()
    return HttpResponseRedirect(f"/things/{entry.sequence}/")


@login_not_required
def program(request):
    return JsonResponse({"sequence": _deed().sequence}, status=201)


@login_not_required
def refusing(request):
    _deed()
    return HttpResponse("Not allowed.", status=403)


@login_not_required
def failing(request):
    with writing():
        record_entry(action="demo.deed", subject=("demo.thing", 1, "Thing"), by="A. Witness")
        raise OperationalError("database or disk is full")


@login_not_required
def stale(request):
    raise StaleEdit({"name": "Bushing B"}, {"name": "Bushing C"}, {"name": "Name plate"})


@login_not_required
def upload(request):
    assert not hasattr(request, "_post"), "The body of an upload was read before the view"
    return HttpResponseRedirect(f"/files/{_deed().sequence}/")


urlpatterns = [
    path("form/", form),
    path("program/", program),
    path("refusing/", refusing),
    path("failing/", failing),
    path("stale/", stale),
    path("upload/", upload),
]
pytestmark = [pytest.mark.urls(__name__), pytest.mark.django_db]


def _post_form(client: Client, address: str = "/form/", **fields: str) -> HttpResponse:
    body = "&".join(f"{name}={value}" for name, value in fields.items())
    return client.post(address, body, content_type="application/x-www-form-urlencoded")


def test_a_form_posted_twice_is_done_once_and_answered_alike(client):
    first, second = (_post_form(client, _once="k1", name="a") for _ in range(2))
    assert (first.status_code, first["Location"]) == (302, "/things/1/")
    assert (second.status_code, second["Location"]) == (302, "/things/1/")
    assert Entry.objects.count() == Submission.objects.count() == 1


def test_a_form_without_or_with_another_key_is_another_deed(client):
    for keys in ({"_once": "k1"}, {"_once": "k2"}, {}, {}):
        _post_form(client, **keys)
    assert Entry.objects.count() == 4
    assert Submission.objects.count() == 2


def test_a_program_gets_the_same_body_again(client):
    sent = {"path": "/program/", "data": {"a": 1}, "content_type": "application/json"}
    first, second = (client.post(**sent, headers={"Idempotency-Key": "k1"}) for _ in range(2))
    assert (second.status_code, second.json()) == (first.status_code, first.json()) == (201, {"sequence": 1})


def test_a_key_sent_again_with_other_values_is_refused_not_swallowed(client):
    _post_form(client, _once="k1", name="a")
    second = _post_form(client, _once="k1", name="b")
    assert second.status_code == 409
    assert "other values" in second.content.decode()
    assert Entry.objects.count() == 1


def test_keys_of_different_senders_do_not_meet(client):
    for address in ("127.0.0.1", "127.0.0.2"):
        client.post("/program/", headers={"Idempotency-Key": "k1"}, REMOTE_ADDR=address)
    assert Entry.objects.count() == 2


def test_an_upload_carries_its_key_in_the_address(client):
    first, second = (client.post("/upload/?_once=k1", {"name": "a"}) for _ in range(2))
    assert first["Location"] == second["Location"] == "/files/1/"
    assert Entry.objects.count() == 1


def test_a_refused_form_may_be_sent_again(client):
    assert [_post_form(client, "/refusing/", _once="k1").status_code for _ in range(2)] == [403, 403]
    assert not Submission.objects.exists()


def test_a_first_request_without_an_answer_sends_the_second_to_the_page(client, monkeypatch):
    monkeypatch.setattr(answers, "WAIT_S", 0.1)
    _post_form(client, _once="k1")
    Submission.objects.update(status=None, location="")
    assert (_post_form(client, _once="k1").status_code, Entry.objects.count()) == (303, 1)
    client.post("/program/", headers={"Idempotency-Key": "k2"})
    Submission.objects.update(status=None, body=None)
    response = client.post("/program/", headers={"Idempotency-Key": "k2", "Accept": "application/json"})
    assert response.status_code == 409
    assert "Nothing was done twice" in response.json()["detail"]


def test_a_lost_database_is_told_and_nothing_is_kept(client):
    response = _post_form(client, "/failing/", _once="k1")
    assert (response.status_code, response["Retry-After"]) == (503, "5")
    assert "othing was saved" in response.content.decode()
    assert client.post("/failing/", headers={"Accept": "application/json"}).json()["detail"].startswith("The database")
    assert not Entry.objects.exists()
    assert not Submission.objects.exists()


def test_a_stale_edit_shows_both_values(client):
    page = client.post("/stale/")
    assert page.status_code == 409
    assert all(words in page.content.decode() for words in ("Name plate", "Bushing B", "Bushing C"))
    answer = client.post("/stale/", headers={"Accept": "application/json"})
    assert answer.json()["conflicts"] == [
        {"field": "name", "label": "Name plate", "current": "Bushing B", "yours": "Bushing C"}
    ]
