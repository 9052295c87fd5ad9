"""The table of who may do what, walked for every role."""

import pytest

from labsite.people.roles import Role
from schedules.services.rights import DEEDS_IN_WORDS, RIGHTS, deeds_of, who_may
from tests.people import organisation, person

EVERYDAY = {"enter_order", "edit_order", "enter_units", "edit_unit", "add_photo", "adopt_plan", "write_pack"}
EXPECTED = {
    Role.TESTER: EVERYDAY,
    Role.APPROVER: EVERYDAY | {"review_contract", "release_hold_point", "confirm_pack", "review_revision"},
    Role.QUALITY_MANAGER: EVERYDAY
    | {
        "grant_authorisation",
        "end_authorisation",
        "correct_authorisation",
        "enter_bay",
        "correct_bay",
        "confirm_pack",
        "set_rule_policy",
    },
    Role.ADMINISTRATOR: {"enter_bay", "correct_bay"},
    Role.CUSTOMER: set(),
    Role.WITNESS: set(),
}


@pytest.mark.django_db
@pytest.mark.parametrize("role", list(Role))
def test_each_role_may_do_what_the_table_says(role):
    someone = person("some@withstand.example", "Some One", organisation("A company (invented)"), role)
    assert deeds_of(someone) == EXPECTED[role]
    someone.is_active = False
    assert deeds_of(someone) == frozenset()


def test_every_deed_has_words_and_somebody_who_may_do_it():
    assert set(RIGHTS) == set(DEEDS_IN_WORDS)
    assert {deed: who_may(deed) for deed in ("enter_bay", "review_contract")} == {
        "enter_bay": "administrator or quality manager",
        "review_contract": "approver",
    }
