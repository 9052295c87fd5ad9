"""Accounts, organisations, the laboratory and its numbers: done, refused, and told in the ledger."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from labsite.ledger.models import Entry
from labsite.ledger.services import NotWriting, StaleEdit, writing
from labsite.people.access import ServerShell
from labsite.people.models import Laboratory, NumberCounter, Organisation, User
from labsite.people.selectors import get_laboratory
from labsite.people.services import (
    create_organisation,
    create_user,
    edit_laboratory,
    edit_organisation,
    next_number,
    set_roles,
    switch_off_user,
    switch_on_user,
)
from labsite.people.services.numbering import check_pattern

GOOD = "a-long-enough-invented-phrase"


def last_entry() -> Entry:
    return Entry.objects.order_by("-sequence").first()


def test_an_account_is_opened_with_its_roles_and_told(administrator, laboratory_company):
    user = create_user(
        email="New@Withstand.example",
        name="Nia Novak",
        organisation=laboratory_company,
        roles=["tester", "approver"],
        password=GOOD,
        by=administrator,
    )
    assert user.email == "new@withstand.example"
    assert user.role_names == {"tester", "approver"}
    assert user.check_password(GOOD)
    entry = last_entry()
    assert (entry.action, entry.actor) == ("people.create_user", administrator)
    assert entry.changes["roles"] == [None, ["approver", "tester"]]
    assert GOOD not in str(entry.changes)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"email": "TESTER@withstand.example"}, "tester@withstand.example has an account already."),
        ({"roles": []}, "Choose at least one role"),
        ({"roles": ["customer"]}, "belong to another organisation"),
        ({"roles": ["king"]}, "There is no role king."),
        ({"password": "short"}, "too short"),
    ],
)
def test_a_wrong_account_is_refused_in_words(administrator, tester, laboratory_company, changed, words):
    wanted = {"email": "n@withstand.example", "name": "N", "organisation": laboratory_company, "roles": ["tester"]}
    with pytest.raises(ValidationError) as refusal:
        create_user(**{**wanted, "password": GOOD, **changed}, by=administrator)
    assert words in " ".join(refusal.value.messages)
    assert not User.objects.filter(email="n@withstand.example").exists()
    assert Entry.objects.count() == 0


def test_a_customer_never_gets_a_laboratory_role(administrator, customer):
    with pytest.raises(ValidationError, match="is not the laboratory"):
        set_roles(user=customer, roles=["customer", "tester"], by=administrator)
    assert User.objects.get(pk=customer.pk).role_names == {"customer"}


def test_roles_are_set_and_told(administrator, tester):
    changed = set_roles(user=tester, roles=["approver"], seen=["tester"], by=administrator)
    assert changed.role_names == {"approver"}
    assert last_entry().changes == {"roles": [["tester"], ["approver"]]}


def test_roles_changed_meanwhile_are_not_overwritten(administrator, tester):
    with pytest.raises(StaleEdit) as stale:
        set_roles(user=tester, roles=["approver"], seen=["quality_manager"], by=administrator)
    assert stale.value.conflicts[0].current == ["tester"]
    assert User.objects.get(pk=tester.pk).role_names == {"tester"}


def test_the_last_administrator_stays(administrator):
    with pytest.raises(ValidationError, match="last administrator"):
        set_roles(user=administrator, roles=["tester"], by=administrator)
    with pytest.raises(ValidationError, match="last administrator"):
        switch_off_user(user=administrator, reason="gone", by=ServerShell())
    assert User.objects.get(pk=administrator.pk).is_administrator


def test_an_account_is_switched_off_and_on_with_a_reason(administrator, tester):
    assert not switch_off_user(user=tester, reason="left the laboratory", by=administrator).is_active
    assert last_entry().reason == "left the laboratory"
    assert switch_on_user(user=tester, reason="came back", by=administrator).is_active
    assert Entry.objects.count() == 2


def test_switching_off_needs_a_reason_and_another_person(administrator, tester):
    with pytest.raises(ValidationError, match="Say why"):
        switch_off_user(user=tester, reason=" ", by=administrator)
    with pytest.raises(ValidationError, match="your own account"):
        switch_off_user(user=administrator, reason="tired", by=administrator)
    assert Entry.objects.count() == 0


@pytest.mark.parametrize("who", ["tester", "approver", "quality_manager", "customer", "witness"])
def test_only_the_administrator_changes_accounts(request, who, laboratory_company):
    by = request.getfixturevalue(who)
    deeds = [
        lambda: create_organisation(name="Other", by=by),
        lambda: create_user(email="x@x.example", name="X", organisation=laboratory_company, roles=["tester"], by=by),
        lambda: set_roles(user=by, roles=["administrator"], by=by),
        lambda: switch_off_user(user=by, reason="x", by=by),
        lambda: edit_laboratory(version=1, changes={"name": "Mine"}, by=by),
    ]
    for deed in deeds:
        with pytest.raises(PermissionDenied, match="it needs: administrator"):
            deed()
    assert Entry.objects.count() == 0


def test_an_organisation_is_entered_once_whatever_its_case(administrator):
    made = create_organisation(name=" Fennmark Power ", by=administrator)
    assert made.name == "Fennmark Power"
    assert last_entry().action == "people.create_organisation"
    with pytest.raises(ValidationError, match="already an organisation"):
        create_organisation(name="FENNMARK power", by=administrator)
    assert Organisation.objects.filter(name__iexact="fennmark power").count() == 1


def test_a_stale_organisation_edit_is_refused(administrator, customer_company):
    by = administrator
    edit_organisation(organisation=customer_company, version=1, name="Fennmark Grid", address="", by=by)
    with pytest.raises(StaleEdit):
        edit_organisation(organisation=customer_company, version=1, name="Fennmark Rail", address="", by=by)
    assert Organisation.objects.get(pk=customer_company.pk).name == "Fennmark Grid"


def test_the_laboratory_has_a_row_only_once_it_was_edited(administrator):
    assert (get_laboratory().pk, Laboratory.objects.count()) == (1, 0)
    edit_laboratory(version=1, changes={"name": "Quayside", "address": "1 Wharf"}, by=administrator)
    assert (get_laboratory().name, get_laboratory().version) == ("Quayside", 2)
    assert last_entry().changes["address"] == ["", "1 Wharf"]
    with pytest.raises(StaleEdit):
        edit_laboratory(version=1, changes={"name": "Harbour"}, by=administrator)
    assert Laboratory.objects.get().name == "Quayside"


def test_numbers_have_no_gap_and_follow_the_pattern(administrator):
    with writing():
        assert [next_number("order", 2026) for _ in range(3)] == ["O-2026-0001", "O-2026-0002", "O-2026-0003"]
        assert next_number("order", 2027) == "O-2027-0001"
    edit_laboratory(version=1, changes={"order_pattern": "{year}/{n:03d}"}, by=administrator)
    with writing():
        assert next_number("order", 2026) == "2026/004"


def test_a_number_of_a_deed_that_failed_is_given_again(db):
    def fail() -> None:
        with writing():
            next_number("certificate", 2026)
            raise RuntimeError("the disk is full")

    with pytest.raises(RuntimeError, match="the disk is full"):
        fail()
    with writing():
        assert next_number("certificate", 2026) == "C-2026-0001"


def test_numbers_without_a_year_count_on(db):
    with writing():
        assert [next_number("unit", year) for year in (2026, 2027)] == ["U-00001", "U-00002"]
    assert NumberCounter.objects.get().last == 2


def test_a_number_outside_writing_is_refused(db):
    with pytest.raises(NotWriting):
        next_number("run", 2026)
    with writing(), pytest.raises(ValueError, match="no series 'runs'"):
        next_number("runs", 2026)
    assert NumberCounter.objects.count() == 0


@pytest.mark.parametrize("pattern", ["C-{year}", "C-{n", "C-{month}-{n}", "C-{n.real.__class__}", "{}", "C-{n:q}", "C"])
def test_a_pattern_that_makes_no_numbers_is_refused(pattern):
    with pytest.raises(ValidationError, match="The pattern"):
        check_pattern(pattern)
