"""Pages of accounts, organisations and the laboratory: who may, what is stored, what is refused."""

from __future__ import annotations

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from labsite.ledger.models import Entry
from labsite.people.models import Laboratory, Organisation, User
from labsite.people.services import issue_token
from tests.people import PASSWORD, person

PATTERNS = {"order_pattern": "O-{n}", "unit_pattern": "U-{n}", "run_pattern": "R-{n}", "certificate_pattern": "C-{n}"}


@pytest.fixture
def as_administrator(client, administrator):
    client.force_login(administrator)
    return client


def pages_of_the_administrator(of: User) -> list[str]:
    return [
        reverse("people:create"),
        reverse("people:detail", args=[of.pk]),
        reverse("people:edit", args=[of.pk]),
        reverse("people:organisations"),
        reverse("people:create-organisation"),
        reverse("people:edit-organisation", args=[of.organisation_id]),
        reverse("people:laboratory"),
    ]


@pytest.mark.parametrize(
    ("who", "status"),
    [
        ("administrator", 200),
        ("tester", 403),
        ("approver", 403),
        ("quality_manager", 403),
        ("customer", 404),
        ("witness", 404),
    ],
)
def test_accounts_are_the_administrators_alone(request, client, second_tester, who, status):
    client.force_login(request.getfixturevalue(who))
    answers = [client.get(address).status_code for address in pages_of_the_administrator(second_tester)]
    assert answers == [status] * 7


def test_without_signing_in_every_page_asks_for_it(client, tester):
    for address in [reverse("home"), reverse("people:people"), *pages_of_the_administrator(tester)]:
        assert client.get(address)["Location"].startswith(reverse("account_login"))


def test_the_laboratory_sees_who_is_who_and_a_customer_nobody(client, tester, customer):
    client.force_login(tester)
    shown = client.get(reverse("people:people")).content.decode()
    assert customer.name in shown
    assert reverse("people:detail", args=[customer.pk]) not in shown
    client.force_login(customer)
    assert client.get(reverse("people:people")).status_code == 404


def test_the_search_finds_by_name_address_and_organisation(as_administrator, tester, customer):
    for sought, found, absent in [("tove", tester, customer), ("fennmark.ex", customer, tester)]:
        shown = as_administrator.get(reverse("people:people"), {"q": sought}).content.decode()
        assert found.name in shown
        assert absent.name not in shown
    assert "Nobody found" in as_administrator.get(reverse("people:people"), {"q": "zzz"}).content.decode()


def queries_of(client, address: str) -> int:
    with CaptureQueriesContext(
        connection,
    ) as queries:
        assert client.get(address).status_code == 200
    return len(queries)


@pytest.mark.parametrize("name", ["people:people", "people:organisations"])
def test_lists_of_few_and_many_cost_the_same(as_administrator, laboratory_company, name):
    few = queries_of(as_administrator, reverse(name))
    for number in range(49):
        company = Organisation.objects.create(name=f"Company {number} (invented)")
        person(f"p{number}@c.example", f"Person {number}", company, "customer", "witness")
    assert queries_of(as_administrator, reverse(name)) == few


def test_an_account_is_opened_on_the_page(as_administrator, laboratory_company):
    form = {"email": "nia@withstand.example", "name": "Nia", "organisation": laboratory_company.pk}
    answer = as_administrator.post(reverse("people:create"), {**form, "roles": ["tester"], "password": PASSWORD})
    made = User.objects.get(email="nia@withstand.example")
    assert answer["Location"] == reverse("people:detail", args=[made.pk])
    assert made.check_password(PASSWORD)


def test_what_is_wrong_with_an_account_is_said_at_its_field_and_nothing_is_lost(as_administrator, laboratory_company):
    form = {"email": "nia@withstand.example", "name": "Nia Kept", "organisation": laboratory_company.pk}
    answer = as_administrator.post(reverse("people:create"), {**form, "roles": ["tester"], "password": "short"})
    assert answer.status_code == 200
    assert list(answer.context["form"].errors) == ["password"]
    assert "Nia Kept" in answer.content.decode()
    assert not User.objects.filter(email=form["email"]).exists()


def test_roles_are_changed_on_the_page_and_a_stale_form_gets_409(as_administrator, tester):
    address = reverse("people:edit", args=[tester.pk])
    assert as_administrator.get(address).context["form"].initial["seen"] == "tester"
    assert as_administrator.post(address, {"roles": ["approver"], "seen": "tester"}).status_code == 302
    stale = as_administrator.post(address, {"roles": ["quality_manager"], "seen": "tester"})
    assert stale.status_code == 409
    assert "approver" in stale.content.decode()
    assert "quality_manager" in stale.content.decode()
    assert User.objects.get(pk=tester.pk).role_names == {"approver"}


def test_the_last_administrator_is_told_in_words(as_administrator, administrator):
    address = reverse("people:edit", args=[administrator.pk])
    answer = as_administrator.post(address, {"roles": ["tester"], "seen": "administrator"})
    assert answer.status_code == 200
    assert "Make somebody else administrator first." in answer.content.decode()


def test_an_account_is_switched_with_a_reason_that_its_page_shows(as_administrator, tester):
    address = reverse("people:switch", args=[tester.pk])
    told = as_administrator.post(address, {"reason": ""}, follow=True)
    assert "Nothing was changed. Say why" in told.content.decode()
    assert User.objects.get(pk=tester.pk).is_active
    shown = as_administrator.post(address, {"reason": "left in autumn"}, follow=True).content.decode()
    assert "left in autumn" in shown
    assert not User.objects.get(pk=tester.pk).is_active
    as_administrator.post(address, {"reason": "came back"})
    assert User.objects.get(pk=tester.pk).is_active


def test_a_token_is_revoked_on_the_page(as_administrator, tester):
    token, _ = issue_token(user=tester, label="bay computer", by=tester)
    shown = as_administrator.get(reverse("people:detail", args=[tester.pk])).content.decode()
    assert "Revoke bay computer" in shown
    as_administrator.post(reverse("people:revoke-token", args=[tester.pk, token.pk]))
    token.refresh_from_db()
    assert token.revoked_at is not None


def test_organisations_are_entered_and_corrected(as_administrator):
    as_administrator.post(reverse("people:create-organisation"), {"name": "Oxbow (invented)", "address": "2 Quay"})
    made = Organisation.objects.get(name="Oxbow (invented)")
    address = reverse("people:edit-organisation", args=[made.pk])
    first = as_administrator.post(address, {"name": "Oxbow Rail (invented)", "address": "2 Quay", "version": 1})
    assert first.status_code == 302
    stale = as_administrator.post(address, {"name": "Oxbow Sea (invented)", "address": "2 Quay", "version": 1})
    assert stale.status_code == 409
    twice = as_administrator.post(reverse("people:create-organisation"), {"name": "oxbow rail (invented)"})
    assert "already an organisation" in twice.content.decode()
    made.refresh_from_db()
    assert made.name == "Oxbow Rail (invented)"


def picture() -> SimpleUploadedFile:
    stream = io.BytesIO()
    Image.new("RGB", (8, 8), "navy").save(stream, "PNG")
    return SimpleUploadedFile("logo.png", stream.getvalue(), "image/png")


def test_the_laboratory_is_stored_with_its_logo_and_a_stale_form_gets_409(as_administrator):
    address = reverse("people:laboratory")
    form = {"name": "Quayside (invented)", "address": "1 Wharf", **PATTERNS, "version": 1}
    assert as_administrator.post(address, {**form, "logo": picture()}).status_code == 302
    stored = Laboratory.objects.get()
    assert (stored.name, stored.version) == ("Quayside (invented)", 2)
    with stored.logo.open() as file:
        assert file.read().startswith(b"\x89PNG")
    stale = as_administrator.post(address, {**form, "name": "Harbour (invented)"})
    assert stale.status_code == 409
    assert "Quayside (invented)" in stale.content.decode()
    assert "Harbour (invented)" in stale.content.decode()
    again = as_administrator.post(address, {**form, "version": 2, "address": "2 Wharf"})
    assert again.status_code == 302
    assert Laboratory.objects.get().logo.name == stored.logo.name
    assert Entry.objects.filter(action="people.edit_laboratory").count() == 2


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"name": ""}, "name"),
        ({"run_pattern": "R-{year}"}, "run_pattern"),
        ({"logo": SimpleUploadedFile("logo.svg", b"<svg onload='x'/>", "image/svg+xml")}, "logo"),
    ],
)
def test_a_wrong_laboratory_is_refused_at_its_field(as_administrator, changed, field):
    form = {"name": "Quayside (invented)", "address": "1 Wharf", **PATTERNS, "version": 1, **changed}
    answer = as_administrator.post(reverse("people:laboratory"), form)
    assert answer.status_code == 200
    assert list(answer.context["form"].errors) == [field]
    assert Laboratory.objects.count() == 0


def test_the_logo_is_shown_to_the_administrator(as_administrator, tester):
    address = reverse("people:logo")
    assert as_administrator.get(address).status_code == 404
    form = {"name": "Quayside (invented)", "address": "1 Wharf", **PATTERNS, "version": 1}
    as_administrator.post(reverse("people:laboratory"), {**form, "logo": picture()})
    assert address in as_administrator.get(reverse("people:laboratory")).content.decode()
    answer = as_administrator.get(address)
    assert answer["Content-Type"] == "image/png"
    assert b"".join(answer.streaming_content).startswith(b"\x89PNG")
    as_administrator.force_login(tester)
    assert as_administrator.get(address).status_code == 403
