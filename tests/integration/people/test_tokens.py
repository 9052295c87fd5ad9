"""Tokens of programs: let in, refused, never stored in clear."""

from __future__ import annotations

import re

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.management import CommandError, call_command
from django.urls import reverse
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.response import Response
from rest_framework.test import APIRequestFactory
from rest_framework.views import APIView

from labsite.ledger.models import Entry
from labsite.people.models import AccessToken, Organisation, User
from labsite.people.services import issue_token, revoke_token
from labsite.people.tokens import TokenAuthentication
from tests.people import PASSWORD


class WhoAmI(APIView):
    authentication_classes = (TokenAuthentication,)

    def get(self, request):
        return Response({"name": request.user.name})


def ask(authorization: str | None):
    headers = {"HTTP_AUTHORIZATION": authorization} if authorization else {}
    return WhoAmI.as_view()(APIRequestFactory().get("/", **headers))


def test_a_token_speaks_in_its_persons_name(tester):
    _, secret = issue_token(user=tester, label="bay computer", by=tester)
    answer = ask(f"Token {secret}")
    assert (answer.status_code, answer.data) == (200, {"name": tester.name})


def test_the_secret_is_stored_nowhere(tester):
    token, secret = issue_token(user=tester, label="bay computer", by=tester)
    entry = Entry.objects.get()
    assert (entry.action, entry.subject_id) == ("people.issue_token", str(token.pk))
    assert secret not in str(AccessToken.objects.values().get()) + str(entry.content())


@pytest.mark.parametrize("authorization", [None, "Token", "Token nonsense", "Token a b", "Token \xe9", "Bearer x"])
def test_without_a_sound_token_the_answer_is_401(tester, authorization):
    answer = ask(authorization)
    assert (answer.status_code, answer["WWW-Authenticate"]) == (401, "Token")


def test_a_revoked_token_is_refused_and_told_once(tester, administrator):
    token, secret = issue_token(user=tester, label="bay computer", by=tester)
    revoke_token(token=token, by=administrator)
    revoke_token(token=token, by=administrator)
    assert ask(f"Token {secret}").status_code == 401
    assert list(Entry.objects.values_list("action", flat=True)) == ["people.issue_token", "people.revoke_token"]


def test_a_switched_off_accounts_token_is_refused(tester, rf):
    _, secret = issue_token(user=tester, label="bay computer", by=tester)
    User.objects.filter(pk=tester.pk).update(is_active=False)
    with pytest.raises(AuthenticationFailed, match="switched off"):
        TokenAuthentication().authenticate(rf.get("/", HTTP_AUTHORIZATION=f"Token {secret}"))


def test_nobody_issues_or_revokes_for_somebody_else(tester, second_tester):
    token, _ = issue_token(user=tester, label="bay computer", by=tester)
    with pytest.raises(PermissionDenied):
        issue_token(user=tester, label="mine", by=second_tester)
    with pytest.raises(PermissionDenied):
        revoke_token(token=token, by=second_tester)
    with pytest.raises(ValidationError, match="Name the program"):
        issue_token(user=tester, label=" ", by=tester)
    assert AccessToken.objects.filter(revoked_at=None).count() == 1


def test_the_command_prints_a_token_that_works(tester, capsys):
    call_command("create_token", "Tester@withstand.example", "bay computer")
    assert ask(f"Token {capsys.readouterr().out.strip()}").status_code == 200
    assert Entry.objects.get().actor_label == "Server command line"
    with pytest.raises(CommandError, match="No active account"):
        call_command("create_token", "nobody@withstand.example", "bay computer")


def test_the_first_administrator_is_opened_at_the_server(db, monkeypatch, capsys):
    monkeypatch.setenv("WITHSTAND_PASSWORD", PASSWORD)
    call_command("create_administrator", "ada@withstand.example", "Ada", "--laboratory", "Quayside (invented)")
    made = User.objects.get()
    assert made.is_administrator
    assert made.organisation == Organisation.objects.get(name="Quayside (invented)", is_laboratory=True)
    with pytest.raises(CommandError, match="has an account already"):
        call_command("create_administrator", "ada@withstand.example", "Ada")


def test_a_person_issues_a_token_on_a_page_sees_it_once_and_revokes_it(client, tester, second_tester):
    client.force_login(tester)
    address = reverse("people:tokens")
    refused = client.post(address, {"label": "bay computer", "password": "not the password"})
    assert "This is not your password" in refused.content.decode()
    assert not AccessToken.objects.exists()
    shown = client.post(address, {"label": "bay computer", "password": PASSWORD})
    secret = re.search(r"withstand_[\w-]+", shown.content.decode())[0]
    assert "no-store" in shown["Cache-Control"]
    assert ask(f"Token {secret}").status_code == 200
    assert secret not in client.get(address).content.decode()
    token = AccessToken.objects.get()
    revoke = reverse("people:revoke-own-token", args=[token.pk])
    client.force_login(second_tester)
    assert client.post(revoke).status_code == 404
    client.force_login(tester)
    assert client.post(revoke).status_code == 302
    assert ask(f"Token {secret}").status_code == 401
