"""What surrounds each request: its number, reading without writing, caches."""

import pytest
from django.contrib.auth import get_user_model
from django.db import connection, transaction
from django.http import HttpResponse

from labsite.ui import middleware
from labsite.ui.middleware import CacheHeaders, ReadOnlyGet, RequestId, WriteOnRead, written_tables


def test_the_number_in_hand_is_the_number_in_the_answer(rf):
    seen = []

    def view(request):
        seen.extend([request.request_id, middleware.current_request_id()])
        return HttpResponse()

    answer = RequestId(view)(rf.get("/"))
    assert seen == [answer["X-Request-Id"]] * 2
    assert len(answer["X-Request-Id"]) == 12
    assert middleware.current_request_id() == ""


def test_a_number_from_the_proxy_is_kept_and_an_odd_one_is_not(rf):
    kept = RequestId(lambda request: HttpResponse())(rf.get("/", headers={"X-Request-Id": "proxy-0001"}))
    odd = RequestId(lambda request: HttpResponse())(rf.get("/", headers={"X-Request-Id": "a\tb<script>"}))
    assert kept["X-Request-Id"] == "proxy-0001"
    assert "script" not in odd["X-Request-Id"]


def test_the_number_is_put_away_when_the_page_fails(rf):
    def view(request):
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        RequestId(view)(rf.get("/"))
    assert middleware.current_request_id() == ""


@pytest.mark.parametrize(
    ("sql", "tables"),
    [
        ('SELECT "a"."update" FROM "records_run" "a" FOR UPDATE', []),
        ("SELECT 'delete from records_run'", []),
        ('WITH x AS (SELECT 1) SELECT * FROM x FOR UPDATE OF "records_run"', []),
        ("SAVEPOINT s1", []),
        ("PRAGMA foreign_keys", []),
        ('INSERT INTO "records_run" ("id") VALUES (1)', ["records_run"]),
        ("INSERT OR IGNORE INTO records_run VALUES (1)", ["records_run"]),
        ('UPDATE "records_run" SET x = 1', ["records_run"]),
        ('UPDATE ONLY "public"."records_run" SET x = 1', ["records_run"]),
        ("delete from records_run", ["records_run"]),
        ("/* a note */ -- another\n DELETE FROM records_run", ["records_run"]),
        ('WITH x AS (DELETE FROM "records_run" RETURNING id) SELECT * FROM x', ["records_run"]),
        ("TRUNCATE TABLE records_run", ["records_run"]),
        ("DROP TABLE records_run", ["drop"]),
        ("COPY records_run FROM STDIN", ["copy"]),
    ],
)
def test_the_tables_that_a_statement_writes_to(sql, tables):
    assert written_tables(sql) == tables


@pytest.mark.django_db
@pytest.mark.parametrize("method", ["get", "head", "options"])
def test_a_reading_request_cannot_write(rf, tester, method):
    def view(request):
        get_user_model().objects.filter(pk=tester.pk).update(name="Changed by a reading request")
        return HttpResponse()

    with transaction.atomic(), pytest.raises(WriteOnRead) as refused:
        ReadOnlyGet(view)(getattr(rf, method)("/"))
    assert str(refused.value) == "A reading request tried to write to people_user; nothing was written."
    tester.refresh_from_db()
    assert tester.name == "Tove Brandt"


@pytest.mark.django_db
def test_a_posting_request_may_write(rf, tester):
    def view(request):
        get_user_model().objects.filter(pk=tester.pk).update(name="Tove Brandt-Lie")
        return HttpResponse()

    assert ReadOnlyGet(view)(rf.post("/")).status_code == 200
    tester.refresh_from_db()
    assert tester.name == "Tove Brandt-Lie"


@pytest.mark.django_db
def test_sessions_may_be_kept_while_reading(rf, client, tester):
    client.force_login(tester)

    def view(request):
        session = client.session
        session["seen"] = True
        session.save()
        return HttpResponse()

    assert ReadOnlyGet(view)(rf.get("/")).status_code == 200
    assert client.session["seen"] is True


@pytest.mark.django_db
def test_reading_is_free_again_after_the_request(rf, tester):
    ReadOnlyGet(lambda request: HttpResponse())(rf.get("/"))
    with connection.cursor() as cursor:
        cursor.execute("UPDATE people_user SET name = 'Free' WHERE id = %s", [tester.pk])
    tester.refresh_from_db()
    assert tester.name == "Free"


def test_pages_stay_out_of_caches_unless_they_say_otherwise(rf):
    def shared(request):
        return HttpResponse(headers={"Cache-Control": "max-age=60"})

    assert CacheHeaders(lambda request: HttpResponse())(rf.get("/"))["Cache-Control"] == "no-store"
    assert CacheHeaders(shared)(rf.get("/"))["Cache-Control"] == "max-age=60"
    assert "camera=()" in CacheHeaders(shared)(rf.get("/"))["Permissions-Policy"]
