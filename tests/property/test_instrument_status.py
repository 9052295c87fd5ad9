"""Status on a day is the same in whatever order events were entered."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from equipment.metrology.validity import CalibrationPeriod, StateFrom, absences, calibration_status

FIRST = date(2024, 1, 1)
days = st.integers(0, 900).map(lambda n: FIRST + timedelta(days=n))
periods = st.builds(
    lambda on, length, passed, name: CalibrationPeriod(on, on + timedelta(days=length), passed, name),
    days,
    st.integers(0, 500),
    st.booleans(),
    st.sampled_from(["K-1", "K-2", "K-3"]),
)
kinds = st.sampled_from([None, "quarantined", "in_calibration", "retired"])
changes = st.builds(
    lambda on, kind, hour: StateFrom(on.toordinal() + hour / 24, on, kind, str(kind)), days, kinds, st.integers(0, 23)
)


@given(st.lists(periods, max_size=6), st.lists(changes, max_size=6), days, st.randoms())
def test_status_does_not_depend_on_the_order_of_entering(calibrations, moves, on, chance):
    first = calibration_status(calibrations, on, out_of_service=absences(moves))
    shuffled, moved = list(calibrations), list(moves)
    chance.shuffle(shuffled)
    chance.shuffle(moved)
    assert calibration_status(shuffled, on, out_of_service=absences(moved)) == first


@given(st.lists(changes, min_size=1, max_size=8))
def test_gaps_do_not_overlap_and_follow_each_other(moves):
    gaps = absences(moves)
    for gap, after in pairwise(gaps):
        assert gap.until is not None
        assert gap.until <= after.since
    assert all(gap.until is None or gap.since <= gap.until for gap in gaps)
