"""Sixteen sendings of one form and eight editors of one order, all at once, at a site served as it is in use."""

from __future__ import annotations

import http.client
import itertools
import json
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from urllib.parse import urlencode

import pytest

from tests import servers
from tests.browser.site import Site, new_site

pytestmark = [pytest.mark.slow, pytest.mark.timeout(280)]
POSTS, EDITORS = 16, 8
CSRF = "a" * 32
SESSIONS = f"""
import json
from importlib import import_module
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from labsite.people.models import Organisation, User
from labsite.people.services import create_user
laboratory = Organisation.objects.get(is_laboratory=True)
administrator = User.objects.holding("administrator").get()
found = []
for number in range({EDITORS}):
    user = create_user(
        email=f"editor{{number}}@quayside.example", name=f"Editor {{number}}", organisation=laboratory,
        roles=["tester"], password="invented-passphrase-for-tests", by=administrator)
    session = import_module(settings.SESSION_ENGINE).SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[0]
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.save()
    found.append(session.session_key)
customer = Organisation.objects.filter(is_laboratory=False).first()
print(json.dumps({{"sessions": found, "customer": customer.pk}}))
"""
HISTORY = """
import json
from labsite.ledger.models import Entry
from schedules.models import Order
order = Order.objects.get(pk=%d)
entries = Entry.objects.filter(action="order.changed", subject_id=str(order.pk)).order_by("sequence")
print(json.dumps({"version": order.version, "remarks": order.remarks,
                  "changes": [entry.changes["remarks"] for entry in entries]}))
"""
COUNT = "from schedules.models import Order; print(Order.objects.filter(purchase_reference='%s').count())"
SERVED = [pytest.mark.postgres, pytest.mark.redis]


@dataclass
class Crowd:
    """A running site and eight people who are signed in to it."""

    site: Site
    sessions: list[str]
    customer: int

    def post(self, who: int, path: str, **fields: object) -> tuple[int, str, str]:
        """Send a form as one of the eight; return status, location and page."""
        body = urlencode({"csrfmiddlewaretoken": CSRF, **fields})
        cookie = f"sessionid={self.sessions[who]}; csrftoken={CSRF}"
        headers = {"Cookie": cookie, "Content-Type": "application/x-www-form-urlencoded"}
        connection = http.client.HTTPConnection("127.0.0.1", self.site.port, timeout=60)
        try:
            connection.request("POST", path, body, headers)
            answer = connection.getresponse()
            return answer.status, answer.getheader("Location") or "", answer.read().decode()
        finally:
            connection.close()

    def together(self, times: int, send: Callable[[int], tuple[int, str, str]]) -> list[tuple[int, str, str]]:
        """Let all send at the same moment."""
        gate = threading.Barrier(times)

        def at_the_gate(number: int) -> tuple[int, str, str]:
            gate.wait()
            return send(number)

        with ThreadPoolExecutor(times) as senders:
            return list(senders.map(at_the_gate, range(times)))

    def terms(self, **fields: object) -> dict[str, object]:
        """Return what an order form holds."""
        agreed = {"decision_rule": "simple_acceptance", "discharge_procedure": "agreed_practice"}
        return {"customer": self.customer, **agreed, **fields}

    def asked(self, code: str) -> str:
        """Return the last line that Python inside the site prints."""
        return self.site.manage("shell", "-v", "0", "-c", code).strip().splitlines()[-1]


@pytest.fixture(
    scope="module",
    params=[("", ""), pytest.param((servers.POSTGRES_URL, servers.REDIS_URL), marks=SERVED)],
    ids=["sqlite and files", "postgresql and redis"],
)
def crowd(request) -> Iterator[Crowd]:
    """Return a founded site with eight people at its door."""
    with new_site(*request.param) as site:
        told = json.loads(site.manage("shell", "-v", "0", "-c", SESSIONS).strip().splitlines()[-1])
        yield Crowd(site, told["sessions"], told["customer"])


def test_one_form_sent_sixteen_times_makes_one_order(crowd):
    fields = crowd.terms(purchase_reference="SENT-16", _once="6a1c4c0e-2222-4333-8444-555566667777")
    answers = crowd.together(POSTS, lambda _: crowd.post(0, "/orders/new/", **fields))
    assert {status for status, _, _ in answers} == {302}
    assert len({location for _, location, _ in answers}) == 1
    assert crowd.asked(COUNT % "SENT-16") == "1"


def test_no_editor_of_eight_loses_an_edit_unseen(crowd):
    _, order, _ = crowd.post(0, "/orders/new/", **crowd.terms(purchase_reference="EDITED-8", remarks="as entered"))
    pk = int(order.strip("/").split("/")[-1])

    def edit(who: int, version: int) -> tuple[int, str, str]:
        fields = crowd.terms(purchase_reference="EDITED-8", remarks=f"of editor {who}", version=version)
        return crowd.post(who, f"/orders/{pk}/edit/", **fields)

    answers = crowd.together(EDITORS, lambda who: edit(who, 1))
    statuses = [status for status, _, _ in answers]
    assert sorted(statuses) == [302, *[409] * (EDITORS - 1)]
    winner = statuses.index(302)
    for who, (status, _, page) in enumerate(answers):
        if status == 409:
            assert f"of editor {winner}" in page
            assert f"of editor {who}" in page
    others = [who for who in range(EDITORS) if who != winner]
    for version, who in enumerate(others, start=2):  # each has seen the other's value and decides again
        assert edit(who, version)[0] == 302
    history = json.loads(crowd.asked(HISTORY % pk))
    told = ["as entered", *(f"of editor {who}" for who in [winner, *others])]
    assert history["changes"] == [list(pair) for pair in itertools.pairwise(told)]
    assert history["version"] == EDITORS + 1
    assert history["remarks"] == told[-1]
