"""Pages of instruments: who may, what is stored, what is refused, how often the database is asked."""

from __future__ import annotations

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from equipment.models import Calibration, Instrument, MeasuringSystem
from equipment.services import assign_system
from labsite.ledger.models import Entry
from tests.integration.equipment.inventory import TODAY, calibrated, instrument, many

pytestmark = pytest.mark.usefixtures("_on_the_day")
CALIBRATION = {
    "laboratory": "Tarn Metrology (invented)",
    "certificate_number": "K-7",
    "calibrated_on": "2026-11-01",
    "due_on": "2027-10-31",
    "relative_uncertainty_pct": "1.5",
    "coverage_factor": "2",
    "verdict": "within",
}
FORM = {"identifier": "HV-01", "description": "Divider", "serial": "S-1", "quantity": "voltage", "interval_months": 12}


@pytest.fixture
def _on_the_day():
    with time_machine.travel("2026-11-25T09:00:00Z", tick=False):
        yield


@pytest.fixture
def divider(quality_manager) -> Instrument:
    made = instrument(quality_manager)
    calibrated(made, quality_manager)
    return made


@pytest.fixture
def chain(quality_manager, divider) -> MeasuringSystem:
    said = {"name": "Chain", "quantity": "voltage", "relative_uncertainty_pct": 3.0, "assigned_on": TODAY}
    return assign_system(**said, instruments=[divider], by=quality_manager)


@pytest.fixture
def as_quality_manager(client, quality_manager):
    client.force_login(quality_manager)
    return client


def shown_pages(divider, chain) -> list[str]:
    return [
        reverse("equipment:instruments"),
        reverse("equipment:detail", args=[divider.pk]),
        reverse("equipment:history", args=[divider.pk]),
        reverse("equipment:systems"),
        reverse("equipment:system", args=[chain.pk]),
    ]


def changing_pages(divider) -> list[str]:
    own = [reverse(f"equipment:{name}", args=[divider.pk]) for name in ("edit", "calibrate", "change-state")]
    return [reverse("equipment:create"), reverse("equipment:create-system"), *own]


@pytest.mark.parametrize(
    ("who", "reading", "changing"),
    [
        ("quality_manager", 200, 200),
        ("tester", 200, 403),
        ("approver", 200, 403),
        ("administrator", 403, 403),
        ("customer", 404, 404),
        ("witness", 404, 404),
    ],
)
def test_who_may_read_and_who_may_change(request, client, divider, chain, who, reading, changing):
    client.force_login(request.getfixturevalue(who))
    assert [client.get(address).status_code for address in shown_pages(divider, chain)] == [reading] * 5
    assert [client.get(address).status_code for address in changing_pages(divider)] == [changing] * 5
    if who != "quality_manager":
        assert [client.post(address).status_code for address in changing_pages(divider)] == [changing] * 5


def test_without_signing_in_every_page_asks_for_it(client, divider, chain):
    for address in [*shown_pages(divider, chain), *changing_pages(divider)]:
        assert client.get(address)["Location"].startswith(reverse("account_login"))


def test_what_one_may_not_do_is_not_offered(client, divider, tester):
    client.force_login(tester)
    shown = client.get(reverse("equipment:detail", args=[divider.pk])).content.decode()
    assert reverse("equipment:calibrate", args=[divider.pk]) not in shown
    assert reverse("equipment:create") not in client.get(reverse("equipment:instruments")).content.decode()


def test_the_board_shows_counts_days_and_the_line(as_quality_manager, quality_manager, divider):
    calibrated(instrument(quality_manager, "HV-02"), quality_manager, due_in_days=-3)
    shown = as_quality_manager.get(reverse("equipment:instruments")).content.decode()
    assert "Overdue 1" in shown
    assert "Fine 1" in shown
    assert "3 days over" in shown
    assert shown.count('class="due-line"') == 2
    narrowed = as_quality_manager.get(reverse("equipment:instruments"), {"board": "overdue"}).content.decode()
    assert "HV-02" in narrowed
    assert "HV-01" not in narrowed


@pytest.mark.parametrize("asked", [{"board": "purple"}, {"quantity": "<script>"}, {"page": "x"}, {"page": "99"}])
def test_odd_questions_narrow_nothing(as_quality_manager, divider, asked):
    assert "HV-01" in as_quality_manager.get(reverse("equipment:instruments"), asked).content.decode()


def test_an_empty_board_says_what_to_do(as_quality_manager, client, tester):
    shown = as_quality_manager.get(reverse("equipment:instruments")).content.decode()
    assert "Enter each instrument with its serial number" in shown
    assert (
        "No instrument is like that"
        in as_quality_manager.get(reverse("equipment:instruments"), {"text": "zzz"}).content.decode()
    )
    client.force_login(tester)
    assert "The quality manager enters instruments" in client.get(reverse("equipment:instruments")).content.decode()


def queries_of(client, address: str) -> int:
    with CaptureQueriesContext(connection) as queries:
        assert client.get(address).status_code == 200
    return len(queries)


@pytest.mark.parametrize("name", ["equipment:instruments", "equipment:systems"])
def test_lists_of_one_seven_and_a_hundred_cost_the_same(as_quality_manager, quality_manager, divider, chain, name):
    costs = [queries_of(as_quality_manager, reverse(name))]
    for numbers in (range(1, 7), range(7, 100)):
        many(quality_manager, numbers)
        costs.append(queries_of(as_quality_manager, reverse(name)))
    assert costs == [costs[0]] * 3


def test_one_instruments_page_costs_the_same_for_many_calibrations(as_quality_manager, quality_manager, divider):
    address = reverse("equipment:detail", args=[divider.pk])
    one = queries_of(as_quality_manager, address)
    for number in range(6):
        calibrated(divider, quality_manager, number=f"K-1{number}")
    assert queries_of(as_quality_manager, address) == one


def test_an_instrument_is_entered_on_the_page(as_quality_manager):
    answer = as_quality_manager.post(reverse("equipment:create"), FORM)
    made = Instrument.objects.get()
    assert answer["Location"] == reverse("equipment:detail", args=[made.pk])
    again = as_quality_manager.post(reverse("equipment:create"), {**FORM, "identifier": "hv-01"})
    assert "already an instrument hv-01" in again.content.decode()
    assert Instrument.objects.count() == 1


def test_two_editors_never_overwrite_each_other_unseen(as_quality_manager, divider):
    address = reverse("equipment:edit", args=[divider.pk])
    assert as_quality_manager.post(address, {**FORM, "location": "Bay 2", "version": 1}).status_code == 302
    stale = as_quality_manager.post(address, {**FORM, "location": "Bay 3", "version": 1})
    assert stale.status_code == 409
    assert "Bay 2" in stale.content.decode()
    assert "Bay 3" in stale.content.decode()
    assert Instrument.objects.get().location == "Bay 2"


def test_a_state_is_changed_with_a_reason(as_quality_manager, divider):
    address = reverse("equipment:change-state", args=[divider.pk])
    silent = as_quality_manager.post(address, {"state": "quarantined", "reason": "", "version": 1})
    assert list(silent.context["form"].errors) == ["reason"]
    shown = as_quality_manager.post(
        address, {"state": "quarantined", "reason": "fell from the trolley", "version": 1}, follow=True
    )
    assert "fell from the trolley" in shown.content.decode()
    assert as_quality_manager.post(address, {"state": "in_use", "reason": "x", "version": 1}).status_code == 409
    history = as_quality_manager.get(reverse("equipment:history", args=[divider.pk])).content.decode()
    assert "fell from the trolley" in history


def points(*lines: tuple[str, str, str, str, str]) -> dict[str, str]:
    sent = {"points-TOTAL_FORMS": str(len(lines)), "points-INITIAL_FORMS": "0"}
    for number, line in enumerate(lines):
        names = ("moment", "unit", "reference", "reading", "expanded_uncertainty")
        sent.update({f"points-{number}-{name}": value for name, value in zip(names, line, strict=True)})
    return sent


EMPTY_LINE = ("as_left", "", "", "", "")


def test_a_calibration_is_entered_with_its_points_and_empty_lines_left_out(as_quality_manager, divider):
    address = reverse("equipment:calibrate", args=[divider.pk])
    lines = points(("as_found", "kV", "50", "50.4", "0.3"), EMPTY_LINE, ("as_left", "kV", "50", "50.1", "0.3"))
    undecided = as_quality_manager.post(address, {**CALIBRATION, **lines}).content.decode()
    assert "Say what the corrections are for; it cannot be changed later." in undecided
    answer = as_quality_manager.post(address, {**CALIBRATION, **lines, "correction_use": "not_applied"})
    assert answer["Location"] == reverse("equipment:detail", args=[divider.pk])
    assert Calibration.objects.get(certificate_number="K-7").points.count() == 2
    shown = as_quality_manager.get(answer["Location"]).content.decode()
    assert "50.40" in shown
    assert "In calibration: performed 1 Nov 2026, due 31 Oct 2027." in shown


@pytest.mark.parametrize(
    ("changed", "lines", "words"),
    [
        ({"due_on": "2026-10-31"}, [], "must lie after"),
        ({"calibrated_on": "2026-12-24"}, [], "has not come yet"),
        ({"calibrated_on": "yesterday"}, [], "Enter a valid date."),
        ({"certificate_number": "K-1"}, [], "K-1 is entered already"),
        ({}, [("as_left", "kV", "fifty", "50", "0.3")], "Enter a number."),
        ({}, [("as_left", "kV", "50", "50", "0")], "Point 1 needs an expanded uncertainty above zero."),
        ({}, [("as_left", "kV", "50", "", "0.3")], "This field is required."),
    ],
)
def test_a_wrong_calibration_is_refused_in_words_and_kept_in_the_form(
    as_quality_manager, divider, changed, lines, words
):
    address = reverse("equipment:calibrate", args=[divider.pk])
    answer = as_quality_manager.post(address, {**CALIBRATION, **changed, "remarks": "kept words", **points(*lines)})
    assert answer.status_code == 200
    assert words in answer.content.decode()
    assert "kept words" in answer.content.decode()
    assert Calibration.objects.count() == 1


def test_more_lines_are_given_when_asked_for(as_quality_manager, divider):
    address = reverse("equipment:calibrate", args=[divider.pk])
    for asked, lines in [("", 6), ("24", 24), ("9999", 60), ("-1", 6), ("x", 6), ("²", 6)]:
        assert len(as_quality_manager.get(address, {"lines": asked}).context["points"].forms) == lines


def test_a_system_is_assigned_and_ended_on_its_pages(as_quality_manager, divider):
    form = {"name": "Chain B", "quantity": "voltage", "scale_factor": "1000", "relative_uncertainty_pct": "3"}
    answer = as_quality_manager.post(
        reverse("equipment:create-system"),
        {**form, "coverage_factor": "2", "assigned_on": "2026-11-25", "instruments": [divider.pk]},
    )
    made = MeasuringSystem.objects.get()
    assert answer["Location"] == reverse("equipment:system", args=[made.pk])
    ended = as_quality_manager.post(answer["Location"], {"on": "2026-11-25", "reason": "new divider"}, follow=True)
    assert "new divider" in ended.content.decode()
    made.refresh_from_db()
    assert made.ended_on == TODAY


def test_a_tester_ends_no_system(client, chain, tester):
    client.force_login(tester)
    address = reverse("equipment:system", args=[chain.pk])
    before = Entry.objects.count()
    assert client.post(address, {"on": "2026-11-25", "reason": "x"}).status_code == 403
    assert Entry.objects.count() == before
