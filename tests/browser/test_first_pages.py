"""The pages before the work: sign-in, the administrator's pages, the gallery; in light and dark, wide and narrow."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser


def test_sign_in_page(enter):
    room = enter("")
    room.go("/account/login/")
    room.look("sign-in")


def test_administrator_pages(enter):
    room = enter("administrator")
    for name, path in (
        ("people", "/people/"),
        ("new-person", "/people/new/"),
        ("organisations", "/people/organisations/"),
        ("laboratory", "/people/laboratory/"),
    ):
        room.go(path)
        room.look(name)
