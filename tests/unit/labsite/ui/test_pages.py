"""The gallery, health, and errors in words."""

from datetime import UTC, datetime

import pytest
from django.core.exceptions import RequestDataTooBig
from django.db import OperationalError, connection

from labsite.ui.web import errors

pytestmark = [pytest.mark.urls("tests.unit.labsite.ui.rooms"), pytest.mark.django_db]


@pytest.mark.parametrize("who", ["tester", "approver", "quality_manager", "administrator"])
def test_the_laboratory_sees_the_gallery(client, request, who):
    client.force_login(request.getfixturevalue(who))
    answer = client.get("/gallery/")
    assert answer.status_code == 200
    assert "Does not conform" in answer.text


@pytest.mark.parametrize("who", ["customer", "witness"])
def test_others_do_not(client, request, who):
    client.force_login(request.getfixturevalue(who))
    answer = client.get("/gallery/")
    assert answer.status_code == 403
    assert "Nothing was changed." in answer.text


def test_nobody_is_asked_to_sign_in(client):
    answer = client.get("/gallery/")
    assert answer.status_code == 302
    assert answer.url == "/sign-in/?next=/gallery/"


def test_the_gallery_picture_is_data_and_layout(client, tester):
    client.force_login(tester)
    figure = client.get("/gallery/chart/").json()
    assert set(figure) == {"data", "layout"}
    assert len(figure["data"][0]["x"]) == len(figure["data"][0]["y"]) == 131


def test_health_needs_no_one_and_says_ok(client):
    answer = client.get("/health/")
    assert answer.status_code == 200
    assert answer.json() == {"status": "ok", "database": "answers"}


def test_health_says_when_the_database_is_away(client):
    def away(*_):
        raise OperationalError("could not connect")

    with connection.execute_wrapper(away):
        answer = client.get("/health/")
    assert answer.status_code == 503
    assert answer.json() == {"status": "unavailable", "database": "does not answer"}


def test_health_is_not_written_to(client):
    assert client.post("/health/").status_code == 405


def test_an_unknown_address_in_words(client, tester):
    client.force_login(tester)
    answer = client.get("/nothing/")
    assert answer.status_code == 404
    assert "There is nothing at this address" in answer.text
    assert answer["X-Request-Id"] in answer.text
    assert "Tove Brandt" in answer.text


def test_a_fault_of_ours_for_someone_signed_in(client, tester):
    client.force_login(tester)
    client.raise_request_exception = False
    answer = client.get("/broken/")
    assert answer.status_code == 500
    assert "Something went wrong on our side" in answer.text
    assert "saved whole or not at all" in answer.text
    assert answer["X-Request-Id"] in answer.text
    assert "ZeroDivisionError" not in answer.text


def test_a_database_that_is_away_is_said_to_be_away(rf):
    try:
        raise OperationalError("could not connect")
    except OperationalError:
        answer = errors.server_error(rf.get("/"))
    assert answer.status_code == 503
    assert answer["Retry-After"] == "30"
    assert "The database does not answer" in answer.content.decode()


def test_a_request_that_cannot_be_read(rf):
    answer = errors.bad_request(rf.get("/"), ValueError("odd"))
    assert answer.status_code == 400
    assert "Nothing was changed and nothing was lost." in answer.content.decode()


def test_a_body_over_the_limit_is_said_to_be_one(rf, settings, tester):
    settings.UPLOAD_LIMIT_BYTES = 7 * 2**20
    request = rf.post("/")
    request.user = tester
    answer = errors.bad_request(request, RequestDataTooBig("too much"))
    assert answer.status_code == 413
    assert "The limit is 7 MB." in answer.content.decode()


def test_a_form_that_is_not_trusted(rf):
    answer = errors.form_not_trusted(rf.post("/"), "no cookie")
    assert answer.status_code == 403
    assert "This form was too old to be sent" in answer.content.decode()


def test_a_refusal_says_its_reason(rf, tester):
    request = rf.get("/")
    request.user = tester
    answer = errors.forbidden(request, PermissionError("Only an approver signs."))
    assert answer.status_code == 403
    assert "Only an approver signs." in answer.content.decode()


def test_a_conflict_shows_both_values_and_lets_one_choose(rf, tester):
    request = rf.post("/units/1/edit/")
    request.user = tester
    fields = [errors.BothValues("Serial", "XX-1", "XX-1"), errors.BothValues("Remark", "Scratch", "No <scratch>")]
    answer = errors.conflict(
        request,
        subject="unit XX-1",
        fields=fields,
        back_url="/units/1/",
        by="R. Okafor",
        at=datetime(2026, 11, 12, 14, 2, tzinfo=UTC),
        retry_fields=[("version", 3), ("remark", "No <scratch>")],
    )
    text = answer.content.decode()
    assert answer.status_code == 409
    assert [field.is_different for field in fields] == [False, True]
    assert "Scratch" in text
    assert "No &lt;scratch&gt;" in text
    assert text.count('class="is-different"') == 1
    assert '<input type="hidden" name="version" value="3">' in text
    assert 'action="/units/1/edit/"' in text
    assert 'name="_once"' in text
    assert "R. Okafor saved a change on" in text


def test_the_head_names_the_person_and_lets_them_leave_by_post(client, quality_manager):
    client.force_login(quality_manager)
    text = client.get("/gallery/").text
    assert "<strong>Quentin Hale</strong>quality manager" in text
    assert '<form action="/sign-out/" method="post">' in text
    assert 'role="search" action="/search/"' in text
    assert "includeIndicatorStyles" in text
