"""Sixteen equal posts at once to a served site: one record, sixteen equal answers."""

from __future__ import annotations

import http.client
import socket
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from urllib.parse import urlencode

import pytest

from tests.faults.processes import Site, wait_until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(200)]
POSTS, FORMS = 16, 5


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def _is_open(port: int) -> bool:
    with socket.socket() as tried:
        return tried.connect_ex(("127.0.0.1", port)) == 0


@pytest.fixture
def served(tmp_path) -> Iterator[tuple[Site, int]]:
    """A site on SQLite, served by two processes with eight threads each."""
    site, port = Site(tmp_path), _free_port()
    site.migrate()
    site.start("-m", "gunicorn", "labsite.wsgi", "-b", f"127.0.0.1:{port}", "-w", "2", "--threads", "8")
    assert wait_until(lambda: _is_open(port), 60), site.log()
    yield site, port
    site.stop()


def _ask(port: int, method: str, body: str = "", **headers: str) -> tuple[int, str, str, str]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        connection.request(method, "/form/", body, headers)
        answer = connection.getresponse()
        cookie = (answer.getheader("Set-Cookie") or "").split(";")[0]
        return answer.status, answer.getheader("Location") or "", answer.read().decode(), cookie
    finally:
        connection.close()


def test_each_form_is_carried_out_once(served):
    site, port = served
    _, _, token, cookie = _ask(port, "GET")
    headers = {"Cookie": cookie, "Content-Type": "application/x-www-form-urlencoded"}

    def send(number: int) -> tuple[int, str]:
        body = urlencode({"csrfmiddlewaretoken": token, "_once": f"form-{number % FORMS}", "name": "a"})
        return _ask(port, "POST", body, **headers)[:2]

    with ThreadPoolExecutor(POSTS) as senders:
        answers = list(senders.map(send, range(POSTS * FORMS)))
    for form in range(FORMS):
        of_form = set(answers[form::FORMS])
        assert len(of_form) == 1, of_form
        assert of_form.pop()[0] == 302
    assert len({location for _, location in answers}) == FORMS
    assert site.ask("Entry.objects.filter(action='demo.form').count()") == FORMS
