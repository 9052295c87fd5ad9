"""The life cycle of a run: every deed in every state is either in the table or refused in words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from records.models import Run
from records.services import lifecycle
from records.services.refusals import WrongState

STATES = tuple(Run.State.values)
DEEDS = (*lifecycle.TRANSITIONS, *lifecycle.WHILE)
# The order of the design, written out here and not read from the table.
ORDER = ["setup", "energised", "recorded", "judged", "signed", "approved"]


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("deed", DEEDS)
def test_a_deed_is_allowed_exactly_where_the_table_says(state, deed):
    run = Run(number="R-2026-00001", state=state)
    sources = lifecycle.TRANSITIONS[deed].sources if deed in lifecycle.TRANSITIONS else lifecycle.WHILE[deed]
    if state in sources:
        lifecycle.require(run, deed)
        assert deed in lifecycle.deeds_open_to(state)
        return
    with pytest.raises(WrongState) as refused:
        lifecycle.require(run, deed)
    assert refused.value.words.startswith(f"Run R-2026-00001 stands at “{Run.State(state).label}”: nobody can ")
    assert deed not in lifecycle.deeds_open_to(state)


@given(st.lists(st.sampled_from(sorted(lifecycle.TRANSITIONS)), max_size=25))
def test_no_sequence_of_deeds_leaves_the_end_or_skips_a_signature(deeds):
    state, seen = "setup", ["setup"]
    for deed in deeds:
        if lifecycle.is_allowed(state, deed):
            assert state not in ("approved", "abandoned")
            state = lifecycle.TRANSITIONS[deed].target
            seen.append(state)
    if state == "approved":
        assert set(ORDER) <= set(seen)
        assert seen[-3:] == ["judged", "signed", "approved"]


@pytest.mark.parametrize("state", ["approved", "abandoned"])
def test_nothing_is_open_to_a_run_that_is_over(state):
    assert lifecycle.deeds_open_to(state) == frozenset()


def test_every_state_before_approval_can_be_abandoned():
    assert set(lifecycle.TRANSITIONS["abandon"].sources) == set(ORDER[:-1])


def test_each_state_is_reached_and_each_but_the_ends_is_left():
    targets = {transition.target for transition in lifecycle.TRANSITIONS.values()}
    assert targets | {"setup"} == set(STATES)
    sources = {source for transition in lifecycle.TRANSITIONS.values() for source in transition.sources}
    assert sources == set(STATES) - {"approved", "abandoned"}
