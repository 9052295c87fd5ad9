"""Signing in, being refused, and the doors that are closed."""

from __future__ import annotations

import pytest
from django.core import mail
from django.urls import reverse

from labsite.ledger.models import Entry
from tests.people import PASSWORD


def sign_in(client, email: str, password: str = PASSWORD):
    return client.post(reverse("account_login"), {"login": email, "password": password})


def test_signing_in_leads_to_ones_own_first_page_and_is_told(client, administrator):
    answer = sign_in(client, "Admin@Withstand.example")
    assert (answer.status_code, answer["Location"]) == (302, reverse("home"))
    shown = client.get(reverse("home"), follow=True)
    assert shown.redirect_chain == [(reverse("people:people"), 302)]
    assert "Successfully signed in" not in shown.content.decode()
    assert list(Entry.objects.values_list("action", "actor")) == [("people.sign_in", administrator.pk)]


def test_a_wrong_password_is_told_in_words_and_says_nothing_of_the_account(client, administrator):
    wrong = sign_in(client, administrator.email, "not the password at all")
    unknown = sign_in(client, "nobody@withstand.example", "not the password at all")
    for answer in (wrong, unknown):
        assert answer.status_code == 200
        assert "The email address and/or password you specified are not correct" in answer.content.decode()
    assert Entry.objects.count() == 0


def test_many_wrong_passwords_shut_the_door_even_for_the_right_one(client, administrator):
    for _ in range(5):
        sign_in(client, administrator.email, "not the password at all")
    answer = sign_in(client, administrator.email)
    assert answer.status_code in (200, 429)
    assert "Too many failed login attempts" in answer.content.decode()
    assert "_auth_user_id" not in client.session


def test_a_switched_off_account_is_refused_at_sign_in_and_at_its_next_request(client, administrator):
    client.force_login(administrator)
    assert client.get(reverse("people:people")).status_code == 200
    type(administrator).objects.filter(pk=administrator.pk).update(is_active=False)
    assert client.get(reverse("people:people"))["Location"].startswith(reverse("account_login"))
    client.logout()
    refused = client.post(reverse("account_login"), {"login": administrator.email, "password": PASSWORD}, follow=True)
    assert "_auth_user_id" not in client.session
    assert Entry.objects.count() == 0
    assert refused.status_code == 200


def test_nobody_signs_himself_up(client, db):
    shut = client.get(reverse("account_signup"))
    client.post(reverse("account_signup"), {"email": "x@x.example", "password1": PASSWORD, "password2": PASSWORD})
    assert "The administrator opens accounts" in shut.content.decode()
    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize("name", ["account_login", "account_reset_password", "account_reset_password_done"])
def test_pages_before_the_door_open_without_an_account(client, db, name):
    assert client.get(reverse(name)).status_code == 200


@pytest.mark.parametrize("name", ["account_logout", "account_change_password", "account_reauthenticate", "mfa_index"])
def test_pages_of_ones_own_account_open(client, tester, name):
    sign_in(client, tester.email)
    answer = client.get(reverse(name))
    assert answer.status_code == 200
    assert 'class="plain-name"' in answer.content.decode()


def test_a_second_factor_can_be_set_up(client, tester):
    sign_in(client, tester.email)
    address = reverse("mfa_activate_totp")
    again = client.get(address)
    assert again["Location"].startswith(reverse("account_reauthenticate"))
    client.post(again["Location"], {"password": PASSWORD, "next": address})
    answer = client.get(address)
    assert answer.status_code == 200
    assert "data:image/svg+xml" in answer.content.decode()


def test_the_reset_link_sets_a_new_password_and_is_told(client, tester):
    client.post(reverse("account_reset_password"), {"email": tester.email})
    link = next(word for word in mail.outbox[0].body.split() if "/account/password/reset/key/" in word)
    form = client.get(link, follow=True)
    address = form.redirect_chain[-1][0]
    new = "another-invented-passphrase"
    assert client.post(address, {"password1": new, "password2": new}).status_code == 302
    tester.refresh_from_db()
    assert tester.check_password(new)
    assert list(Entry.objects.values_list("action", flat=True)) == ["people.set_password"]


def test_a_reset_for_an_unknown_address_answers_alike(client, tester):
    known = client.post(reverse("account_reset_password"), {"email": tester.email})
    unknown = client.post(reverse("account_reset_password"), {"email": "nobody@withstand.example"})
    assert (known.status_code, known["Location"]) == (unknown.status_code, unknown["Location"])


@pytest.mark.parametrize(
    ("who", "room"),
    [
        ("administrator", "people:people"),
        ("quality_manager", "equipment:instruments"),
        ("tester", "records:today"),
        ("approver", "records:today"),
        ("customer", "portal:home"),
        ("witness", "portal:home"),
    ],
)
def test_home_sends_each_role_to_its_room(request, client, who, room):
    client.force_login(request.getfixturevalue(who))
    assert client.get(reverse("home"))["Location"] == reverse(room)


def test_somebody_without_a_role_is_told_who_can_help(client, tester):
    tester.grants.all().delete()
    client.force_login(tester)
    assert client.get(reverse("home")).status_code == 403
