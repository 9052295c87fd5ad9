"""Every address of the site, asked for by everybody: who is let in, who finds nothing, and looking changes nothing."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.apps import apps
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from labsite.people.roles import LABORATORY_ROLES
from tests.answers import let_go
from tests.integration.planted import Planted, plant
from tests.people import person

# What a part of an address stands for: the first row whose expression is found in the route decides.
SUBJECTS: tuple[tuple[str, dict[str, str]], ...] = (
    (r"^people/organisations/", {"pk": "organisation"}),
    (r"^people/", {"pk": "user", "token_pk": "token"}),
    (r"^jobs/", {"pk": "job"}),
    (r"^instruments/systems/", {"pk": "system"}),
    (r"^instruments/checks/", {"pk": "standard", "alarm_pk": "alarm"}),
    (r"^instruments/import/", {"pk": "import"}),
    (r"^instruments/export/", {"form": "export_form"}),
    (r"^instruments/calendar/", {"secret": "link"}),
    (
        r"^instruments/",
        {
            "pk": "instrument",
            "range_pk": "range",
            "file_pk": "file",
            "draft_pk": "draft",
            "calibration_pk": "calibration",
            "digest_pk": "digest",
        },
    ),
    (r"^nonconforming-work/", {"pk": "work", "affected_pk": "affected", "letter_pk": "letter"}),
    (r"^calibrations/", {"pk": "calibration"}),
    (r"^bays/", {"pk": "bay"}),
    (r"^orders/", {"pk": "order", "order_pk": "order"}),
    (r"^units/", {"pk": "unit"}),
    (r"^photographs/", {"pk": "unit_photo"}),
    (r"^plans/", {"pk": "plan"}),
    (r"^steps/", {"pk": "step"}),
    (r"^authorisations/", {"pk": "authorisation"}),
    (r"^packs/", {"pk": "pack", "name": "pack_name"}),
    (r"^evidence/", {"pk": "evidence"}),
    (r"^runs/", {"pk": "run", "photo_pk": "run_photo"}),
    (r"^records/", {"pk": "record"}),
    (r"^nonconformances/", {"pk": "nonconformance"}),
    (r"^certificates/", {"pk": "certificate"}),
    (r"^invitations/", {"pk": "invitation"}),
    (r"^verify/", {"number": "certificate_number"}),
    (r"^(portal|api)/orders/", {"pk": "order"}),
    (r"^(portal|api)/units/", {"pk": "unit"}),
    (r"^(portal|api)/certificates/", {"pk": "certificate"}),
    (r"^(portal|api)/records/", {"pk": "record"}),
    (r"^api/plans/", {"pk": "plan"}),
    (r"^api/runs/", {"pk": "run"}),
    (r"^api/instruments/", {"pk": "instrument"}),
    (r"^portal/invitations/", {"pk": "invitation"}),
    (r"^portal/witness/", {"token": "link"}),
)
# Open to everybody, and the sign-in pages of the library, which has its own tests.
OPEN = re.compile(r"^(health/|account/|verify/|portal/witness/|instruments/calendar/)")
API = re.compile(r"^api/")
PORTAL = re.compile(r"^portal/")
PEOPLE = re.compile(r"^people/")
# Pages of an account, whoever's it is; and the gallery's invented picture.
EVERYBODY = re.compile(r"^(people/confirm/|people/tokens/|gallery/chart/)?$")
# A run whose record holds no pulses has no pattern; a comparison needs to be told with what.
BESIDE = {
    "runs/<int:pk>/pattern/": 404,
    "runs/<int:pk>/compare/figure/": 400,
    "runs/<int:pk>/compare/pattern/": 400,
}
UNCHANGED = {"sessions.Session"}


def routes(patterns: list[Any] | None = None, prefix: str = "") -> Iterator[str]:
    """Yield every route of the site; the API's other formats and the library's links by mail are left out."""
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        route = prefix + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from routes(pattern.url_patterns, route)
        elif isinstance(pattern, URLPattern) and "format" not in route and not re.match(r"account/\^", route):
            yield re.sub(r"\(\?P<(\w+)>[^)]*\)", r"<\1>", route).replace("^", "").replace("$", "")


def address(route: str, planted: Planted) -> str:
    """Return the address of the planted thing that the route is about."""
    subjects = next((subjects for expression, subjects in SUBJECTS if re.search(expression, route)), {})

    def value(match: re.Match[str]) -> str:
        name = match["name"]
        assert name in subjects, f"{route} has a part <{name}> that SUBJECTS does not tell; add it."
        thing = planted.things[subjects[name]]
        return str(getattr(thing, "pk", thing))

    query = f"?arrangement={planted.things['arrangement'].pk}" if route == "runs/new/" else ""
    return "/" + re.sub(r"<(?:\w+:)?(?P<name>\w+)>", value, route) + query


@pytest.fixture
def people(tester, second_tester, approver, quality_manager, administrator, customer, other_customer, witness):
    """Return everybody by a short name."""
    return {
        "tester": tester,
        "second": second_tester,
        "approver": approver,
        "quality_manager": quality_manager,
        "administrator": administrator,
        "customer": customer,
        "stranger": other_customer,
        "witness": witness,
    }


@pytest.fixture
def planted(people) -> Planted:
    """Return the customer's work; the stranger's lies beside it."""
    plant(people["stranger"], people, "B")
    return plant(people["customer"], people, "A")


def ask(who: Any, path: str, method: str = "get") -> Any:
    """Ask for an address as a person, None for somebody unknown; an error inside is told with its own words."""
    client = Client(raise_request_exception=False)
    if who is not None:
        client.force_login(who)
    answer = getattr(client, method)(path)
    assert answer.status_code < 500, f"{method} {path} as {who}: {answer.status_code} {answer.exc_info!r}"
    let_go(answer)
    return answer


def rows() -> dict[str, int]:
    """Return how many rows each table holds, apart from sessions."""
    return {
        model._meta.label: model._default_manager.count()
        for model in apps.get_models()
        if model._meta.label not in UNCHANGED
    }


def test_every_part_of_an_address_is_told(planted):
    found = [address(route, planted) for route in routes()]
    assert len(found) == len(set(found))
    assert all("<" not in path for path in found)


def test_anonymous_is_asked_to_sign_in(planted):
    for route in routes():
        path = address(route, planted)
        answer = ask(None, path)
        if OPEN.search(route):
            continue
        if API.search(route):
            assert answer.status_code in {401, 403}, path
        else:
            assert answer.status_code == 302, path
            assert answer.url.startswith("/account/login/"), path


@pytest.mark.parametrize("method", ["get", "post"])
def test_stranger_finds_nothing_of_another_customer(planted, people, method):
    for route in routes():
        if OPEN.search(route) or EVERYBODY.search(route):
            continue
        path = address(route, planted)
        answer = ask(people["stranger"], path, method)
        if PORTAL.search(route) or API.search(route):
            if "<" in route:
                assert answer.status_code in {404, 405}, f"{method} {path}: {answer.status_code}"
        else:
            assert answer.status_code in {403, 404, 405}, f"{method} {path}: {answer.status_code}"
        content = b"" if answer.streaming else answer.content
        assert not [mark for mark in planted.marks if mark.encode() in content], path


def test_customer_sees_the_portal_only(planted, people):
    for route in routes():
        if OPEN.search(route) or EVERYBODY.search(route) or API.search(route):
            continue
        path = address(route, planted)
        status = ask(people["customer"], path).status_code
        if route.startswith("portal/invitations/"):
            assert status == 404, f"{path}: {status}"  # a witness's own; a customer learns of none
        elif PORTAL.search(route):
            assert status in {200, 302, 405}, f"{path}: {status}"
        else:
            assert status in {403, 404, 405}, f"{path}: {status}"


@pytest.mark.parametrize("method", ["get", "post"])
def test_witness_account_sees_no_page_of_the_laboratory(planted, people, method):
    for route in routes():
        if OPEN.search(route) or EVERYBODY.search(route) or API.search(route) or PORTAL.search(route):
            continue
        status = ask(people["witness"], address(route, planted), method).status_code
        assert status in {403, 404, 405}, f"{method} {route}: {status}"


@pytest.mark.parametrize("role", sorted(LABORATORY_ROLES))
def test_laboratory_is_answered_everywhere(planted, people, role):
    for route in routes():
        path = address(route, planted)
        status = ask(people[role], path).status_code
        if route in BESIDE:
            assert status == BESIDE[route], f"{path} as {role}: {status}"
        elif not (OPEN.search(route) or PORTAL.search(route) or API.search(route)):
            assert status in {200, 302, 403, 405}, f"{path} as {role}: {status}"


def test_administrator_keeps_people_and_no_records(planted, people):
    for route in routes():
        path = address(route, planted)
        status = ask(people["administrator"], path).status_code
        if PEOPLE.search(route):
            assert status in {200, 302, 405}, f"{path}: {status}"


@pytest.mark.parametrize("role", ["tester", "approver", "quality_manager", "administrator", "customer"])
def test_empty_form_is_answered_in_words(planted, people, role):
    for route in routes():
        if route.startswith("account/"):
            continue
        answer = ask(people[role], address(route, planted), "post")
        assert answer.status_code in {200, 201, 302, 400, 403, 404, 405, 409, 413, 415, 422}, route


def test_looking_changes_nothing(planted, people):
    before = rows()
    for route in routes():
        path = address(route, planted)
        for who in (None, people["tester"], people["approver"], people["customer"], people["administrator"]):
            ask(who, path)
    assert rows() == before


def test_person_without_a_role_is_told_who_can_help(db, laboratory_company):
    nobody = person("nobody@withstand.example", "Nils Ohne", laboratory_company)
    answer = ask(nobody, "/")
    assert answer.status_code == 403
    assert "it needs:" in answer.content.decode()
