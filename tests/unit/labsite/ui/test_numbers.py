"""Numbers, times and verdicts as templates show them; expected texts follow from arithmetic visible here."""

import re
import uuid
from datetime import UTC, date, datetime

import pytest
from django.template import Context, Template
from django.utils import timezone

from labsite.ui.templatetags import ui

THIN = "\u2009"
MINUS = "\u2212"


def plain(html: str) -> str:
    return re.sub(r"<[^>]+>", "", html).replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("value", "unit", "uncertainty", "shown"),
    [
        (6.8123, "pC", 1.0712, "6.8 ± 1.1 pC"),
        (18.7149, "kV", 0.0961, "18.715 ± 0.096 kV"),
        (123456.0, "V", 1234.0, f"123{THIN}500 ± 1{THIN}200 V"),
        (5.0, "s", 9.96, "5 ± 10 s"),
        (-0.25, "K", 0.1, f"{MINUS}0.25 ± 0.10 K"),
        (12345.678, "V", None, f"12{THIN}350 V"),
        (0, "s", None, "0.000 s"),
        (9.9999, "kV", None, "10.00 kV"),
        (None, "kV", None, "–"),
        (float("nan"), "kV", 1.0, "–"),
        (float("inf"), "kV", None, "–"),
        ("not a number", "kV", None, "–"),
        (2.5, "", None, "2.500"),
    ],
)
def test_a_quantity_is_rounded_to_its_uncertainty(value, unit, uncertainty, shown):
    assert plain(ui.rounded_quantity(value, unit, uncertainty)) == shown


def test_a_quantity_without_uncertainty_keeps_the_digits_asked_for():
    assert plain(ui.rounded_quantity(18.7149, "kV", None, 3)) == "18.7 kV"


def test_a_unit_that_carries_markup_is_escaped():
    assert "<script>" not in ui.rounded_quantity(1, "<script>")


@pytest.mark.parametrize(
    ("value", "shown"), [(3151, f"3{THIN}151"), (-1234567, f"{MINUS}1{THIN}235{THIN}000"), ("", "–")]
)
def test_a_number_has_thin_spaces_and_a_true_minus(value, shown):
    assert ui.number(value) == shown


@pytest.mark.parametrize(
    ("verdict", "label"),
    [
        ("conforms", "Conforms"),
        ("does_not_conform", "Does not conform"),
        ("inconclusive", "Inconclusive"),
        ("not_valid", "Not a valid test"),
        ("", "Not judged yet"),
        (None, "Not judged yet"),
    ],
)
def test_a_verdict_has_its_own_words(verdict, label):
    assert ui.verdict_label(verdict) == label


def test_an_unknown_verdict_is_never_shown_as_one():
    with pytest.raises(KeyError):
        ui.verdict_label("passed")


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (64, "64 s"),
        (0.1, "0.1 s"),
        (0, "0 s"),
        (119.96, "120 s"),
        (120, "2 min"),
        (126, "2 min 6 s"),
        (3600, "1 h"),
        (3840, "1 h 4 min"),
        (None, "–"),
    ],
)
def test_a_duration_in_words(seconds, words):
    assert ui.duration(seconds) == words


@pytest.mark.parametrize(("seconds", "shown"), [(76, "1:16"), (120, "2:00"), (9, "0:09"), (3725, "62:05")])
def test_a_duration_as_a_clock(seconds, shown):
    assert ui.clock(seconds) == shown


def test_times_are_shown_where_the_laboratory_is():
    moment = datetime(2026, 11, 12, 23, 2, tzinfo=UTC)
    with timezone.override("Europe/Oslo"):  # an hour ahead of UTC in November
        assert ui.local_time(moment) == '<time datetime="2026-11-12T23:02:00+00:00">13 Nov 2026, 00:02</time>'
        assert plain(ui.local_time(moment, "date")) == "13 Nov 2026"
        assert plain(ui.local_time(moment, "time")) == "00:02"


def test_days_stay_days_and_nothing_is_a_dash():
    assert ui.local_time(date(2027, 3, 4)) == '<time datetime="2027-03-04">4 Mar 2027</time>'
    assert ui.local_time(None) == "–"


def test_each_form_has_a_key_of_its_own():
    rendered = [Template("{% load ui %}{% once_key %}").render(Context()) for _ in range(50)]
    keys = {re.fullmatch(r'<input type="hidden" name="_once" value="([^"]+)">', text).group(1) for text in rendered}
    assert len(keys) == 50
    assert {uuid.UUID(key).version for key in keys} == {4}


def test_digests_and_messages():
    assert ui.short_digest("9f3c" + "0" * 56 + "b1d4") == "9f3c…b1d4"
    assert ui.short_digest("abcd") == "abcd"
    assert [ui.message_tone(tag) for tag in ("success", "error", "warning", "info", "debug")] == [
        "ok",
        "bad",
        "warn",
        "info",
        "info",
    ]
