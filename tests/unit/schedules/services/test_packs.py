"""The laboratory's own packs: written by one, confirmed by another, frozen; rows of shipped packs; what they block."""

import pytest
from django.core.exceptions import PermissionDenied

from labsite.ledger.errors import StaleEdit
from labsite.ledger.models import Entry
from schedules.models import PackVersion, RowConfirmation
from schedules.rules.packs import SHIPPED
from schedules.rules.rows import shipped_rows
from schedules.selectors.packs import (
    blocking_words,
    packs_in_force,
    row_lines,
    shipped_packs,
    trial_of,
    unconfirmed_rows,
)
from schedules.services.packs import (
    confirm_pack,
    confirm_rows,
    edit_pack,
    retire_pack,
    set_rule_policy,
    validated,
    write_pack,
)
from schedules.services.plans import adopt_plan
from schedules.services.refusals import ScheduleRefused

pytestmark = pytest.mark.django_db
SHORT = (SHIPPED / "agreed_discharge_practice.toml").read_text(encoding="utf-8")
OWN = SHORT.replace('document = "Agreed discharge practice"', 'document = "Works practice 7"').replace(
    'formula = "100"', 'formula = "30"'
)


def written(by, content=OWN, name="works_practice"):
    return write_pack(name=name, content=content, by=by)


def test_another_person_confirms_and_then_it_is_frozen(tester, approver):
    pack = written(tester)
    assert [one.name for one in packs_in_force() if one.name == "works_practice"] == []
    assert confirm_pack(pack=pack, version=1, by=approver).confirmed_by == approver
    (used,) = [one for one in packs_in_force() if one.name == "works_practice"]
    assert (used.document, used.sha256, used.confirmed_by) == ("Works practice 7", pack.sha256, str(approver))
    with pytest.raises(ScheduleRefused, match="is confirmed and is never edited"):
        edit_pack(pack=pack, version=2, content=SHORT, by=tester)
    with pytest.raises(ScheduleRefused, match="is confirmed and is never edited"):
        confirm_pack(pack=pack, version=2, by=approver)
    assert list(Entry.objects.filter(action__startswith="pack.").values_list("action", flat=True)) == [
        "pack.written",
        "pack.confirmed",
    ]


def test_its_author_never_confirms_it(approver):
    pack = written(approver)
    with pytest.raises(ScheduleRefused, match="You wrote this pack"):
        confirm_pack(pack=pack, version=1, by=approver)


def test_a_tester_does_not_confirm(tester, second_tester):
    with pytest.raises(PermissionDenied, match="Only approver or quality manager may confirm rule packs"):
        confirm_pack(pack=written(tester), version=1, by=second_tester)


def test_what_was_read_is_what_is_confirmed(tester, approver):
    pack = written(tester)
    edit_pack(pack=pack, version=1, content=OWN.replace("30", "40"), by=tester)
    with pytest.raises(ScheduleRefused, match="was changed after you opened it"):
        confirm_pack(pack=pack, version=1, by=approver)
    assert confirm_pack(pack=pack, version=2, by=approver).is_confirmed


def test_only_its_author_edits_a_draft_and_nobody_a_stale_one(tester, second_tester):
    pack = written(tester)
    with pytest.raises(ScheduleRefused, match="Tove Brandt writes this version"):
        edit_pack(pack=pack, version=1, content=SHORT, by=second_tester)
    edit_pack(pack=pack, version=1, content=SHORT, by=tester)
    with pytest.raises(StaleEdit):
        edit_pack(pack=pack, version=1, content=OWN, by=tester)


def test_versions_follow_each_other(tester, approver):
    first = written(tester)
    with pytest.raises(ScheduleRefused, match="waits for its confirmation"):
        written(tester, SHORT)
    confirm_pack(pack=first, version=1, by=approver)
    with pytest.raises(ScheduleRefused, match="word for word"):
        written(tester)
    second = written(tester, OWN.replace('formula = "30"', 'formula = "20"'))
    assert (second.number, [one.sha256 for one in packs_in_force() if one.name == "works_practice"]) == (
        2,
        [first.sha256],
    )
    confirm_pack(pack=second, version=1, by=approver)
    assert [one.sha256 for one in packs_in_force() if one.name == "works_practice"] == [second.sha256]
    retire_pack(pack=second, reason="Customer withdrew it", by=approver)
    assert [one for one in packs_in_force() if one.name == "works_practice"] == []


@pytest.mark.parametrize(
    ("name", "content", "field", "words"),
    [
        ("Works", OWN, "name", "small letters"),
        ("ieee_18_2012", OWN, "name", "A pack that ships is called ieee_18_2012"),
        ("works", OWN.replace("0.5 * power_frequency_kv", "0.5 * power_kv"), "content", "stages[0].voltage_kv"),
        ("works", OWN.replace("format = 2", ""), "content", "format: is missing. Mend: add format"),
        ("works", "colour =", "content", "is not TOML"),
        ("works", "", "content", "is missing"),
        ("works", "#" * 200_001, "content", "keep it under"),
    ],
)
def test_what_cannot_be_used_is_refused_with_key_and_mend(tester, name, content, field, words):
    with pytest.raises(ScheduleRefused) as refused:
        written(tester, content, name)
    (refusal,) = refused.value.refusals
    assert refusal.field == field
    assert words in refusal.words
    assert PackVersion.objects.count() == 0


def test_a_plan_keeps_version_and_digest_and_marks_the_use(unit, order, tester, approver):
    pack = confirm_pack(pack=written(tester), version=1, by=approver)
    order.standards = ["Works practice 7"]
    order.save(update_fields=["standards"])
    plan = adopt_plan(unit=unit, by=tester)
    used = {one["name"]: one["sha256"] for one in plan.document["packs"]}
    assert used["works_practice"] == pack.sha256
    limits = {one["max"] for one in plan.document["steps"][1]["procedure"]["criteria"] if "charge" in one["quantity"]}
    assert limits == {30}
    pack.refresh_from_db()
    assert pack.first_used_at is not None
    places = unconfirmed_rows(plan.document).places
    assert {name for name, _ in places} == {"series_reactor_levels"}


def test_trial_stores_nothing():
    pack = validated("works_practice", OWN)
    ratings = {"equipment": "series_reactor", "highest_voltage_kv": 15.5, "standards": ["Works practice 7"]}
    assert trial_of(pack, ratings).document["packs"][-1]["name"] == "works_practice"
    assert trial_of(pack, {"equipment": "series_reactor"}).words.startswith("highest_voltage_kv: is missing")
    assert trial_of(pack, []).words.startswith("ratings: is not an object")
    assert PackVersion.objects.count() == 0


def test_rows_are_confirmed_one_by_one_against_a_named_copy(approver, tester):
    name = "series_reactor_levels"
    rows = shipped_rows(name)
    with pytest.raises(PermissionDenied):
        confirm_rows(pack=name, digests=[rows[0].digest], copy="Own copy", by=tester)
    with pytest.raises(ScheduleRefused, match="Tick the rows"):
        confirm_rows(pack=name, digests=["0" * 64], copy="Own copy", by=approver)
    with pytest.raises(ScheduleRefused, match="Name the licensed copy"):
        confirm_rows(pack=name, digests=[rows[0].digest], copy=" ", by=approver)
    confirm_rows(pack=name, digests=[rows[0].digest, rows[1].digest], copy="Own copy, 2011", by=approver)
    assert confirm_rows(pack=name, digests=[rows[0].digest], copy="Again", by=approver) == []
    assert RowConfirmation.objects.count() == Entry.objects.filter(action="pack.row_confirmed").count() == 2
    assert [line.confirmation.copy if line.confirmation else "" for line in row_lines(name)[:3]] == [
        "Own copy, 2011",
        "Own copy, 2011",
        "",
    ]
    (line,) = [one for one in shipped_packs() if one.pack.name == name]
    assert (line.rows, line.confirmed) == (len(rows), 2)


def test_unconfirmed_rows_block_only_where_the_laboratory_decided_so(unit, tester, approver, quality_manager):
    plan = adopt_plan(unit=unit, by=tester)
    words = unconfirmed_rows(plan.document).words
    assert any(one.startswith("Agreed levels for series reactors 1: ") for one in words)
    assert blocking_words(plan) == ()
    with pytest.raises(ScheduleRefused, match="Say why"):
        set_rule_policy(blocks_certificates=True, version=1, reason=" ", by=quality_manager)
    set_rule_policy(blocks_certificates=True, version=1, reason="Audit finding 3", by=quality_manager)
    assert blocking_words(plan)[:-1] == words
    for name in {pack["name"] for pack in plan.document["packs"]}:
        confirm_rows(pack=name, digests=[row.digest for row in shipped_rows(name)], copy="Own copy", by=approver)
    assert blocking_words(plan) == ()
    assert unconfirmed_rows(plan.document).places == frozenset()
    with pytest.raises(StaleEdit):
        set_rule_policy(blocks_certificates=False, version=1, reason="Late", by=quality_manager)


def test_a_plan_of_an_earlier_release_is_not_taken_for_confirmed():
    old = {"packs": [], "steps": [{"basis": [{"document": "IEEE 18", "result": 1}]}]}
    assert unconfirmed_rows(old).words == (
        "This plan does not name the rows that it rests on; adopt it anew to see which are confirmed.",
    )


def test_every_shipped_row_has_a_digest_of_its_own():
    for path in SHIPPED.glob("*.toml"):
        digests = [row.digest for row in shipped_rows(path.stem)]
        assert len(digests) == len(set(digests)), path.name
