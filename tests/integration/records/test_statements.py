"""Statements of four states, where the order agrees them: from the order to the page and the certificate."""

from __future__ import annotations

import pytest
from django.urls import reverse

from equipment.metrology.conformity import DECISION_RULES
from records.certificates.wording import decision_words
from records.selectors.judgement import finding_rows
from schedules.models import Order
from schedules.selectors import agreed_decision, proposal_of
from schedules.selectors.plans import decision_in_words
from tests.integration.records import laboratory

pytestmark = pytest.mark.django_db
# The mean is 0.4210 Ω; a system of 1.5 % gives U near 0.0063 Ω, so that with r = 1 a limit less than U away is near.
READINGS = "resistance_ohm\n0.4211\n0.4209\n0.4210\n0.4210\n"


@pytest.mark.parametrize(
    ("limit", "verdict", "statement"),
    [
        (0.4400, "conforms", "pass"),
        (0.4230, "inconclusive", "conditional pass"),
        (0.4190, "inconclusive", "conditional fail"),
        (0.4000, "does_not_conform", "fail"),
    ],
)
@pytest.mark.parametrize("is_asked", [True, False])
def test_the_state_stands_beside_the_verdict_where_it_was_agreed(
    unit, people, tester, client, limit, verdict, statement, is_asked
):
    criterion = {"quantity": "resistance_ohm", "max": limit, "decision": "customer_defined", "guard_factor": 1.0}
    asked = {"statement": "four_states"} if is_asked else {}
    meter = laboratory.system("resistance", "R-01", entered_by=tester)
    way = laboratory.open_step(
        unit, people, "winding_resistance", {"criteria": [{**criterion, **asked, "judges": "unit"}]}, [meter]
    )
    way.upload(READINGS)
    assert way.now.verdict == verdict
    evaluation = way.run.evaluations.get()
    judged = next(row for row in finding_rows(evaluation) if row.finding.maximum is not None)
    assert judged.statement == (statement if is_asked else "")
    client.force_login(way.operator)
    page = client.get(f"{reverse('records:run', args=[way.run.pk])}?at=sign").content.decode()
    assert (f'<span class="faint">{statement}</span>' in page) is is_asked
    row = next(one for one in evaluation.document["findings"] if one["max"] is not None)
    assert row["statement"] == statement.replace(" ", "_")


def test_what_an_order_agrees_reaches_the_criteria_of_the_unit(customer_company, tester):
    order = Order(decision_rule="customer_defined", guard_factor=0.5, statements=Order.Statements.FOUR)
    proposal = proposal_of(order=order, equipment=laboratory.RATINGS["equipment"], ratings=laboratory.RATINGS)
    rows = [row for step in proposal.document["steps"] for row in step["procedure"]["criteria"]]
    said = {(row["judges"], row["decision"], row.get("guard_factor"), row.get("statement")) for row in rows}
    assert said == {("unit", "customer_defined", 0.5, "four_states"), ("test", "simple_acceptance", None, None)}


def test_the_certificate_says_what_was_agreed():
    usual = Order()
    assert agreed_decision(usual) == {"decision_rule": "simple_acceptance"}
    assert decision_words(agreed_decision(usual)).startswith("Simple acceptance (ILAC-G8, w = 0)")
    own = Order(decision_rule="customer_defined", guard_factor=0.5, statements=Order.Statements.FOUR)
    words = decision_words(agreed_decision(own))
    assert words.startswith("The customer's own guard band, w = 0.5 U. Statements have four states: ")
    for rule in Order.DecisionRule.values:
        assert not decision_words({"decision_rule": rule, "guard_factor": 2.0}).startswith(rule)


def test_every_place_that_names_the_rules_says_the_factors_of_their_table():
    assert Order.DecisionRule.values == list(DECISION_RULES)
    for name in ("iso_14253", "three_sigma", "six_sigma"):
        band = f"{DECISION_RULES[name].guard_factor:g} U"
        assert f"(w = {band})" in Order.DecisionRule(name).label
        assert f"w = {band}" in decision_words({"decision_rule": name})
        assert decision_in_words({"decision": name}) == f"guard band of {band}"
