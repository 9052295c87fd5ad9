"""What differs between two plans, told in words."""

from schedules.rules import derive_plan
from schedules.rules.differences import differences

REACTOR = {"equipment": "series_reactor", "highest_voltage_kv": 15.5, "lightning_impulse_kv": 110}
BANK = {
    "equipment": "tuned_filter",
    "highest_voltage_kv": 15.5,
    "inductance_tolerance_pct": 3,
    "capacitance_tolerance_pct": 5,
    "tuning_tolerance_pct": 2,
    "frequency_hz": 60,
}


def plan(ratings):
    return derive_plan(ratings).as_dict()


def test_a_plan_does_not_differ_from_itself():
    found = differences(plan(REACTOR), plan(REACTOR))
    assert found.is_none
    assert [(one.state, one.before, one.after) for one in found.steps] == [("same", 0, 0), ("same", 1, 1)]


def test_stages_limits_and_ratings_are_told_with_their_units():
    found = differences(plan(REACTOR), plan(REACTOR | {"charge_limit_pc": 20, "discharge_test_voltage_kv": 12}))
    assert found.ratings == (
        "Discharge test voltage: not stated, now 12 kV.",
        "Charge limit: not stated, now 20 pC.",
    )
    withstand, discharge = found.steps
    assert (withstand.state, discharge.state) == ("same", "changed")
    assert "measurement, set point: 10.75 kV, now 12 kV" in discharge.changes
    assert "limit of apparent charge, measurement: at most 100 pC, now 20 pC" in discharge.changes
    assert "set-up check of injected charge: at most 200 pC, now 40 pC" in discharge.changes
    assert "threshold: 10 pC, now 5 pC" in discharge.changes or "threshold" not in " ".join(discharge.changes)
    assert not [words for words in discharge.changes if "held" in words]


def test_new_steps_and_those_that_are_gone():
    routine, both = plan(REACTOR), plan(REACTOR | {"tests": ["routine", "type"]})
    assert [one.state for one in differences(routine, both).steps] == ["new", "same", "same"]
    gone = differences(both, routine).steps[-1]
    assert (gone.state, gone.title, gone.before, gone.after) == (
        "gone",
        "Lightning impulse withstand, 1.2/50 µs",
        0,
        None,
    )


def test_packs_that_come_and_go():
    guide = plan(REACTOR | {"discharge_procedure": "ieee_guide"})
    found = differences(plan(REACTOR), guide)
    assert set(found.packs) == {"IEEE 1291 1993 is used now.", "Agreed discharge practice 1 is not used any more."}
    changed = plan(REACTOR)
    changed["packs"][0] = {**changed["packs"][0], "sha256": "0" * 64}
    assert differences(plan(REACTOR), changed).packs == ("Agreed levels for series reactors 1: the pack was changed.",)


def test_a_branch_that_is_tuned_otherwise():
    before = plan(BANK | {"branches": [{"tuned_order": 4.7, "capacitance_uf": 50}]})
    after = plan(BANK | {"branches": [{"tuned_order": 4.8, "capacitance_uf": 50}]})
    found = differences(before, after)
    assert [one.state for one in found.steps] == ["same", "changed", "changed", "same", "same"]
    assert "limit of tuned order, branch 1: nominal 4.7, now 4.8" in found.steps[2].changes
    assert found.ratings[0].startswith("Branches: (tuned order 4.7, capacitance 50, inductance ")


def test_arrangements_follow_the_phases():
    found = differences(plan(REACTOR), plan(REACTOR | {"phases": 3}))
    assert "arrangements: single phase, now phase A, phase B, phase C" in found.steps[0].changes
