"""The password again before a signature: right, wrong, too often wrong, and too long ago."""

from __future__ import annotations

import time

import pytest
import time_machine
from django import forms
from django.contrib.sessions.backends.db import SessionStore
from django.http import HttpResponse
from django.urls import reverse

from labsite.people import step_up
from tests.people import PASSWORD


class SignForm(step_up.StepUpForm):
    meaning = forms.CharField()


@pytest.fixture
def sent(rf, tester):
    request = rf.get("/sign/?run=7")
    request.user, request.session = tester, SessionStore()
    return request


def test_the_right_password_counts_for_some_minutes(sent, settings):
    assert not step_up.has_stepped_up(sent)
    assert step_up.step_up(sent, PASSWORD)
    assert step_up.has_stepped_up(sent)
    with time_machine.travel(time.time() + settings.STEP_UP_SECONDS + 1, tick=False):
        assert not step_up.has_stepped_up(sent)


def test_a_clock_that_was_set_back_counts_for_nothing(sent):
    step_up.step_up(sent, PASSWORD)
    with time_machine.travel(time.time() - 3600, tick=False):
        assert not step_up.has_stepped_up(sent)


def test_a_step_up_is_one_persons(sent, second_tester):
    step_up.step_up(sent, PASSWORD)
    sent.user = second_tester
    assert not step_up.has_stepped_up(sent)


def test_after_five_wrong_tries_even_the_right_password_is_refused_until_the_wait_is_over(sent, settings):
    if settings.REDIS_URL:
        pytest.skip("Redis keeps its own time, which a test cannot move")
    assert [step_up.confirm_password(sent, "wrong") for _ in range(5)] == [False] * 5
    assert step_up.is_locked(sent.user)
    assert not step_up.confirm_password(sent, PASSWORD)
    with time_machine.travel(time.time() + step_up.WINDOW_S + 1):
        assert step_up.confirm_password(sent, PASSWORD)


def test_a_right_password_gives_the_tries_back(sent):
    for _ in range(3):
        assert [step_up.confirm_password(sent, "wrong") for _ in range(4)] == [False] * 4
        assert step_up.confirm_password(sent, PASSWORD)
    assert not step_up.is_locked(sent.user)


def test_one_persons_wrong_tries_are_not_anothers(sent, second_tester):
    for _ in range(5):
        step_up.confirm_password(sent, "wrong")
    sent.user = second_tester
    assert step_up.confirm_password(sent, PASSWORD)


def test_a_switched_off_account_confirms_nothing(sent):
    sent.user.is_active = False
    assert not step_up.confirm_password(sent, PASSWORD)


def test_the_form_says_what_is_wrong(sent):
    words = []
    for _ in range(6):
        form = SignForm({"meaning": "performed", "password": "wrong"}, request=sent)
        assert not form.is_valid()
        words.append(form.errors["password"][0])
    assert words == [step_up.WRONG] * 4 + [step_up.TOO_MANY] * 2


def test_the_form_steps_up(sent):
    form = SignForm({"meaning": "performed", "password": PASSWORD}, request=sent)
    assert form.is_valid()
    assert step_up.has_stepped_up(sent)
    assert PASSWORD not in str(SignForm({"meaning": "", "password": PASSWORD}, request=sent))


def test_a_guarded_view_sends_to_the_password_and_back(sent):
    view = step_up.step_up_required(lambda request: HttpResponse("signed"))
    asked = view(sent)
    assert asked["Location"] == f"{reverse('people:step-up')}?next=%2Fsign%2F%3Frun%3D7"
    step_up.step_up(sent, PASSWORD)
    assert view(sent).content == b"signed"


def test_the_page_goes_back_where_one_was_but_never_to_another_site(client, tester):
    client.force_login(tester)
    address = reverse("people:step-up")
    wrong = client.post(f"{address}?next=/people/", {"password": "wrong"})
    assert (wrong.status_code, step_up.WRONG in wrong.content.decode()) == (200, True)
    assert client.post(f"{address}?next=/people/", {"password": PASSWORD})["Location"] == "/people/"
    assert step_up.SESSION_KEY in client.session
    outside = client.post(f"{address}?next=https://elsewhere.example/", {"password": PASSWORD})
    assert outside["Location"] == reverse("home")
