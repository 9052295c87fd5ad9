"""Pages of rule packs: own ones, shipped ones, and the decision about unconfirmed rows."""

import json

import pytest
from django.urls import reverse

from schedules.models import PackVersion, RowConfirmation, RulePolicy
from schedules.rules.packs import SHIPPED
from schedules.rules.rows import shipped_rows
from schedules.services.packs import confirm_pack, write_pack

pytestmark = pytest.mark.django_db
TEXT = (SHIPPED / "agreed_discharge_practice.toml").read_text(encoding="utf-8")
OWN = TEXT.replace('document = "Agreed discharge practice"', 'document = "Works practice 7"')


def text(response):
    return response.content.decode()


def written(by, name="works_practice"):
    return write_pack(name=name, content=OWN, by=by)


def test_an_error_keeps_what_was_typed_and_names_the_key(send, tester):
    broken = OWN.replace('hold_s = "60"', 'hold = "60"', 1)
    page = send(tester, reverse("schedules:pack-create"), name="works_practice", content=broken)
    assert page.status_code == 200
    assert "procedures[0].stages[0].hold_s: is missing. Mend: add hold_s" in text(page)
    assert "Works practice 7" in text(page)
    assert PackVersion.objects.count() == 0


def test_written_tried_and_confirmed(browser, send, tester, approver):
    made = send(tester, reverse("schedules:pack-create"), name="works_practice", content=OWN)
    pack = PackVersion.objects.get()
    url = reverse("schedules:pack", args=[pack.pk])
    assert made.url == url
    assert "confirm</button>" not in text(browser(tester).get(url))
    assert "confirm</button>" in text(browser(approver).get(url))
    sample = {"equipment": "series_reactor", "highest_voltage_kv": 15.5, "standards": ["Works practice 7"]}
    tried = text(send(approver, url, sample=json.dumps(sample)))
    assert "What follows from the sample" in tried
    assert "at most 100 pC" in tried
    assert "No plan follows" in text(send(approver, url, sample="{}"))
    assert "Not JSON at line 1, column 1" in text(send(approver, url, sample="x"))
    assert send(approver, reverse("schedules:pack-confirm", args=[pack.pk]), version=1).url == url
    pack.refresh_from_db()
    assert pack.confirmed_by == approver
    assert "In use" in text(browser(tester).get(url))


def test_nobody_confirms_a_version_that_was_not_shown(send, tester, approver):
    pack = written(tester)
    send(approver, reverse("schedules:pack-confirm", args=[pack.pk]), version=7)
    pack.refresh_from_db()
    assert not pack.is_confirmed


def test_a_stale_edit_answers_409_with_both_texts(send, tester):
    pack = written(tester)
    url = reverse("schedules:pack-edit", args=[pack.pk])
    assert send(tester, url, content=OWN.replace("120", "90"), version=1).status_code == 302
    assert send(tester, url, content=OWN.replace("120", "60"), version=1).status_code == 409


def test_the_next_version_begins_with_the_one_before(browser, tester, approver):
    pack = confirm_pack(pack=written(tester), version=1, by=approver)
    page = browser(tester).get(reverse("schedules:pack-create"), {"from": pack.pk})
    assert "You begin with works_practice, version 1" in text(page)
    assert "Works practice 7" in text(page)
    assert browser(tester).get(reverse("schedules:pack-create"), {"from": "x"}).status_code == 200


def test_a_pack_is_taken_out_of_use_with_a_reason(send, tester, approver):
    pack = confirm_pack(pack=written(tester), version=1, by=approver)
    url = reverse("schedules:pack-retire", args=[pack.pk])
    send(approver, url, reason="")
    pack.refresh_from_db()
    assert pack.retired_at is None
    send(approver, url, reason="Withdrawn by the customer")
    pack.refresh_from_db()
    assert pack.retired_at is not None


def test_rows_are_confirmed_from_their_page(browser, send, tester, approver):
    url = reverse("schedules:pack-shipped", args=["ieee_c37_20_3_2013"])
    row = shipped_rows("ieee_c37_20_3_2013")[2]
    assert "checkbox" not in text(browser(tester).get(url))
    assert "Nothing was confirmed yet." in text(send(approver, url, digests=row.digest, copy=" "))
    assert send(approver, url, digests=row.digest, copy="2013, shelf 4").status_code == 302
    assert RowConfirmation.objects.get().row == row.key
    assert "against 2013, shelf 4" in text(browser(tester).get(url))
    assert browser(tester).get(reverse("schedules:pack-shipped", args=["no_such_pack"])).status_code == 404


def test_the_quality_manager_decides_what_unconfirmed_rows_block(browser, send, tester, quality_manager):
    url = reverse("schedules:packs")
    assert "Keep the decision" not in text(browser(tester).get(url))
    assert send(quality_manager, url, blocks="on", version=1, reason="Audit finding 3").status_code == 302
    assert RulePolicy.objects.get().blocks_certificates
    assert "They block certificates" in text(browser(tester).get(url))
    assert send(tester, url, version=2, reason="No").status_code == 403


@pytest.mark.parametrize("rows", [1, 7])
def test_the_list_costs_the_same_with_one_and_with_seven_packs(browser, tester, rows, django_assert_num_queries):
    for place in range(rows):
        written(tester, f"works_practice_{place}")
    client = browser(tester)
    with django_assert_num_queries(6):  # session, person, roles, policy, own packs, confirmed rows
        client.get(reverse("schedules:packs"))


def test_strangers_find_nothing(browser, customer, administrator):
    assert browser(customer).get(reverse("schedules:packs")).status_code in (403, 404)
    assert browser(administrator).get(reverse("schedules:packs")).status_code in (403, 404)
