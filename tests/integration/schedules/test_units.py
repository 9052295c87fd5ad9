"""Pages of units: nameplates, several at once, photographs, visibility and cost."""

from io import BytesIO

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from labsite.ledger.models import Entry
from schedules.models import Unit, UnitPhoto
from schedules.services.photographs import add_photo
from schedules.services.units import edit_unit
from tests.orders import a_plan, a_unit

pytestmark = pytest.mark.django_db


def text(response):
    return response.content.decode()


def picture():
    stream = BytesIO()
    Image.new("RGB", (8, 6), "grey").save(stream, "PNG")
    return SimpleUploadedFile("front.png", stream.getvalue(), "image/png")


def new_units_url(order, equipment="series_reactor"):
    return reverse("schedules:unit-create", args=[order.pk]) + f"?equipment={equipment}"


def test_the_kind_comes_first_then_its_own_nameplate(browser, tester, order):
    client = browser(tester)
    assert "What kind of equipment?" in text(client.get(reverse("schedules:unit-create", args=[order.pk])))
    reactor = client.get(new_units_url(order)).context["form"].fields
    switchgear = client.get(new_units_url(order, "metal_enclosed_switchgear")).context["form"].fields
    assert "inductance_mh" in reactor
    assert "inductance_mh" not in switchgear
    assert "rated_current_ka" in switchgear
    assert next(iter(reactor)) == "serials"
    assert "What kind of equipment?" in text(client.get(new_units_url(order, "toaster")))


def test_several_serials_are_entered_at_once(send, tester, order):
    plate = {"highest_voltage_kv": "15,5", "lightning_impulse_kv": "110", "condition": "Crate dented"}
    answer = send(tester, new_units_url(order), serials="A1\r\nA2\r\n\r\nA3", **plate)
    assert answer["Location"] == reverse("schedules:order", args=[order.pk])
    made = Unit.objects.order_by("serial")
    assert [unit.serial for unit in made] == ["A1", "A2", "A3"]
    assert made[0].ratings == {"highest_voltage_kv": 15.5, "lightning_impulse_kv": 110.0}
    assert Entry.objects.filter(action="unit.entered").count() == 3


@pytest.mark.parametrize(
    ("fields", "name", "words"),
    [
        (
            {"highest_voltage_kv": "15.5", "lightning_impulse_kv": "111"},
            "lightning_impulse_kv",
            "111 kV is not in the row",
        ),
        ({"highest_voltage_kv": "fifteen"}, "highest_voltage_kv", "“fifteen” is not a number."),
        ({"highest_voltage_kv": "12,470"}, "highest_voltage_kv", "“12,470” is not a number."),
        ({"highest_voltage_kv": "-4"}, "highest_voltage_kv", "outside what is possible"),
        ({"highest_voltage_kv": "nan"}, "highest_voltage_kv", "“nan” is not a number."),
        ({"highest_voltage_kv": "15.5", "phases": "2"}, "phases", "not one of the available choices"),
        ({"highest_voltage_kv": "15.5", "received_on": "2999-01-01"}, "received_on", "This day has not come yet."),
    ],
)
def test_errors_stand_in_words_by_their_field(send, tester, order, fields, name, words):
    answer = send(tester, new_units_url(order), serials="A1", **fields)
    assert answer.status_code == 200
    assert words in answer.context["form"].errors[name][0]
    assert not Unit.objects.exists()


def test_a_duplicate_is_named_and_nothing_entered(send, tester, order, unit):
    answer = send(
        tester, new_units_url(order), serials="SR-001\nSR-002", highest_voltage_kv="15.5", lightning_impulse_kv="110"
    )
    assert "SR-001. No unit was entered." in answer.context["form"].errors["serials"][0]
    assert "SR-002" in text(answer)
    assert Unit.objects.count() == 1


def test_the_page_shows_nameplate_with_units_condition_and_next_deed(browser, tester, order):
    unit = a_unit(order=order, by=tester, serial="SR-7", condition="Crate dented")
    page = text(browser(tester).get(reverse("schedules:unit", args=[unit.pk])))
    assert "<dt>Highest voltage</dt><dd>15.5 kV</dd>" in page
    assert "<dt>Lightning impulse level (BIL)</dt><dd>110 kV</dd>" in page
    assert "Crate dented" in page
    assert "Next: adopt a plan" in page


def test_a_unit_is_corrected_and_a_stale_form_answers_409(send, tester, second_tester, unit):
    url = reverse("schedules:unit-edit", args=[unit.pk])
    fields = {"serial": "SR-001", "highest_voltage_kv": "15.5", "lightning_impulse_kv": "110", "version": 1}
    assert send(tester, url, **fields, condition="Dry").status_code == 302
    answer = send(second_tester, url, **fields, condition="Wet")
    assert answer.status_code == 409
    assert "Dry" in text(answer)
    assert "Wet" in text(answer)
    unit.refresh_from_db()
    assert (unit.condition, unit.ratings) == ("Dry", {"highest_voltage_kv": 15.5, "lightning_impulse_kv": 110})


def test_saving_the_form_as_it_stands_changes_nothing(browser, send, tester, unit):
    url = reverse("schedules:unit-edit", args=[unit.pk])
    form = browser(tester).get(url).context["form"]
    fields = {name: value for name, value in form.initial.items() if value not in (None, [])}
    assert send(tester, url, **fields).status_code == 302
    unit.refresh_from_db()
    assert unit.version == 1
    assert not Entry.objects.filter(action="unit.changed").exists()


def test_a_photograph_is_kept_and_sent_as_it_was(send, browser, tester, customer, unit):
    kept = picture().read()
    answer = send(tester, reverse("schedules:photo", args=[unit.pk]), image=picture(), caption="Front")
    assert answer.status_code == 302
    photo = UnitPhoto.objects.get()
    sent = browser(tester).get(reverse("schedules:photo-file", args=[photo.pk]))
    assert (b"".join(sent.streaming_content), sent["Content-Type"]) == (kept, "image/png")
    assert browser(customer).get(reverse("schedules:photo-file", args=[photo.pk])).status_code == 404
    assert "Front" in text(browser(tester).get(reverse("schedules:unit", args=[unit.pk])))


@pytest.mark.parametrize(
    ("content", "words"), [(b"", "The file is empty"), (b"MZ\x90", "not a whole JPEG, PNG or WebP")]
)
def test_what_is_no_picture_is_refused_by_the_field(send, tester, unit, content, words):
    image = SimpleUploadedFile("front.png", content, "image/png")
    answer = send(tester, reverse("schedules:photo", args=[unit.pk]), image=image, caption="Front of it")
    assert words in answer.context["form"].errors["image"][0]
    assert "Front of it" in text(answer)
    assert not UnitPhoto.objects.exists()


def test_search_and_filter(browser, tester, order, unit):
    plate = {"highest_voltage_kv": 15, "lightning_impulse_kv": 95}
    other = a_unit(order=order, by=tester, serial="MES-9", equipment="metal_enclosed_switchgear", ratings=plate)
    client = browser(tester)

    def found(**query):
        return [row.pk for row in client.get(reverse("schedules:units"), query).context["rows"]]

    assert found() == [other.pk, unit.pk]
    assert found(q="sr-0") == [unit.pk]
    assert found(q="fennmark mes") == [other.pk]
    assert found(equipment="series_reactor") == [unit.pk]
    assert "No unit found" in text(client.get(reverse("schedules:units"), {"q": "nowhere"}))


@pytest.mark.parametrize(
    "name", ["schedules:unit", "schedules:unit-edit", "schedules:unit-history", "schedules:plan", "schedules:photo"]
)
@pytest.mark.parametrize(
    ("who", "status"), [("customer", 404), ("witness", 404), ("administrator", 403), ("tester", 200)]
)
def test_strangers_find_nothing_and_colleagues_are_told(request, browser, unit, name, who, status):
    client = browser(request.getfixturevalue(who))
    assert client.get(reverse(name, args=[unit.pk])).status_code == status


def test_history_tells_of_unit_plan_and_photographs(browser, tester, unit):
    edit_unit(unit=unit, version=1, changes={"condition": "Dry"}, by=tester)
    a_plan(unit=unit, by=tester)
    add_photo(unit=unit, file=picture(), caption="", by=tester)
    page = text(browser(tester).get(reverse("schedules:unit-history", args=[unit.pk])))
    for action in ("Unit entered", "Unit changed", "Plan adopted", "Photograph added"):
        assert action in page


@pytest.mark.parametrize("rows", [1, 7, 100])
def test_the_list_costs_the_same_for_1_7_and_100_rows(browser, tester, order, rows, django_assert_num_queries):
    for number in range(rows):
        a_unit(order=order, by=tester, serial=f"S{number}")
    client = browser(tester)
    with django_assert_num_queries(5):  # session, person, roles, how many units, the units
        client.get(reverse("schedules:units"))
