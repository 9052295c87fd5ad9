"""Settings are read strictly."""

from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from labsite import environment


def test_an_obligatory_text_that_is_missing_stops_with_its_name(monkeypatch):
    monkeypatch.delenv("WITHSTAND_X", raising=False)
    with pytest.raises(ImproperlyConfigured, match=r"WITHSTAND_X is not set\."):
        environment.text("WITHSTAND_X")


def test_a_short_secret_stops_with_the_mend(monkeypatch):
    monkeypatch.setenv("WITHSTAND_X", "short")
    with pytest.raises(ImproperlyConfigured, match="has 5 characters; it needs at least 50"):
        environment.text("WITHSTAND_X", at_least=50)


@pytest.mark.parametrize(("given", "expected"), [("1", True), ("yes", True), ("0", False), ("Off", False), ("", True)])
def test_a_switch(monkeypatch, given, expected):
    monkeypatch.setenv("WITHSTAND_X", given)
    assert environment.switch("WITHSTAND_X", default=True) is expected


def test_an_odd_switch_stops(monkeypatch):
    monkeypatch.setenv("WITHSTAND_X", "maybe")
    with pytest.raises(ImproperlyConfigured, match="neither yes nor no"):
        environment.switch("WITHSTAND_X", default=True)


@pytest.mark.parametrize(
    ("given", "words"), [("twelve", "not a whole number"), ("0", "between 1 and 9"), ("10", "between 1")]
)
def test_an_odd_number_stops(monkeypatch, given, words):
    monkeypatch.setenv("WITHSTAND_X", given)
    with pytest.raises(ImproperlyConfigured, match=words):
        environment.whole_number("WITHSTAND_X", 5, minimum=1, maximum=9)


def test_a_number_and_its_default(monkeypatch):
    monkeypatch.setenv("WITHSTAND_X", "7")
    assert environment.whole_number("WITHSTAND_X", 5) == 7
    assert environment.whole_number("WITHSTAND_UNSET", 5) == 5


def test_names_lose_blanks_and_empty_parts(monkeypatch):
    monkeypatch.setenv("WITHSTAND_X", "a.example, ,b.example,")
    assert environment.names("WITHSTAND_X", "") == ["a.example", "b.example"]


def test_a_folder_must_be_absolute(monkeypatch):
    monkeypatch.setenv("WITHSTAND_X", "var")
    with pytest.raises(ImproperlyConfigured, match="not an absolute path"):
        environment.folder("WITHSTAND_X", Path("/"))
