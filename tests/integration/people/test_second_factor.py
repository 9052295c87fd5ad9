"""The second factor: its secret is stored encrypted, and its code is asked for at the next sign-in."""

from __future__ import annotations

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import TOTP, format_hotp_value, hotp_value, yield_hotp_counters_from_time
from cryptography.fernet import InvalidToken
from django.urls import reverse

from labsite.people.second_factor import SecondFactorAdapter
from tests.people import PASSWORD

SECRET = "JBSWY3DPEHPK3PXP"


def code_of(secret: str) -> str:
    return format_hotp_value(hotp_value(secret, next(iter(yield_hotp_counters_from_time()))))


def test_the_secret_is_not_in_the_table_and_makes_codes(tester):
    TOTP.activate(tester, SECRET)
    stored = Authenticator.objects.get()
    assert SECRET not in str(stored.data)
    assert stored.wrap().validate_code(code_of(SECRET))


def test_an_older_key_still_reads_and_a_strange_one_never(settings):
    stored = SecondFactorAdapter().encrypt(SECRET)
    older, settings.SECRET_KEY = settings.SECRET_KEY, "another key " * 6
    with pytest.raises(InvalidToken):
        SecondFactorAdapter().decrypt(stored)
    settings.SECRET_KEY_FALLBACKS = [older]
    assert SecondFactorAdapter().decrypt(stored) == SECRET


def test_signing_in_asks_for_the_code(client, tester):
    TOTP.activate(tester, SECRET)
    first = client.post(reverse("account_login"), {"login": tester.email, "password": PASSWORD})
    assert first["Location"] == reverse("mfa_authenticate")
    assert "_auth_user_id" not in client.session
    assert client.get(first["Location"]).status_code == 200
    wrong = client.post(first["Location"], {"code": "000000" if code_of(SECRET) != "000000" else "111111"})
    assert wrong.status_code == 200
    assert "_auth_user_id" not in client.session
    assert client.post(first["Location"], {"code": code_of(SECRET)})["Location"] == reverse("home")
    assert client.session["_auth_user_id"] == str(tester.pk)
