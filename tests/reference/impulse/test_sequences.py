"""When a sequence of impulses passes: the procedures of SOURCE.md, walked through by hand."""

from __future__ import annotations

import pytest

from records.evaluation.impulse.acceptance import SEQUENCES, Round, judge_sequence, rounds_of


def shots(count: int, *discharges: int) -> list[bool]:
    """Return a sequence with discharges at the numbers named, counted from 1."""
    return [number in discharges for number in range(1, count + 1)]


@pytest.mark.parametrize(
    ("name", "discharged", "outcome", "missing"),
    [
        ("three", shots(3), "passed", 0),
        ("three", shots(3, 2), "failed", 0),
        ("three", shots(2), "more_needed", 1),
        ("three", shots(1, 1), "failed", 0),
        ("three_plus_nine", shots(3), "passed", 0),
        ("three_plus_nine", shots(3, 3), "more_needed", 9),
        ("three_plus_nine", shots(7, 3), "more_needed", 5),
        ("three_plus_nine", shots(12, 3), "passed", 0),
        ("three_plus_nine", shots(12, 3, 9), "failed", 0),
        ("three_plus_nine", shots(3, 1, 2), "failed", 0),
        ("fifteen", shots(15), "passed", 0),
        ("fifteen", shots(15, 1, 15), "passed", 0),
        ("fifteen", shots(15, 1, 2, 15), "failed", 0),
        ("fifteen", shots(14), "more_needed", 1),
        ("fifteen", shots(3, 1, 2, 3), "failed", 0),
        ("fifteen_five_clear", shots(15, 1, 10), "passed", 0),
        ("fifteen_five_clear", shots(15, 11), "more_needed", 1),
        ("fifteen_five_clear", shots(16, 11), "passed", 0),
        ("fifteen_five_clear", shots(20, 11, 16), "more_needed", 1),
        ("fifteen_five_clear", shots(21, 11, 16), "passed", 0),
        ("fifteen_five_clear", shots(25, 21), "failed", 0),
        ("fifteen_five_clear", shots(16, 1, 2, 16), "failed", 0),
    ],
)
def test_a_sequence_passes_as_its_procedure_says(name, discharged, outcome, missing):
    judged = judge_sequence(discharged, SEQUENCES[name])
    assert (judged.outcome, judged.missing) == (outcome, missing)


def test_rounds_of_the_laboratorys_own():
    rows = ({"impulses": 5, "accept": 0, "reject": 2}, {"impulses": 10, "accept": 1, "reject": 2})
    assert rounds_of({"rounds": rows}) == (Round(5, 0, 2), Round(10, 1, 2))
    assert rounds_of({}) == ()
    assert judge_sequence(shots(5, 4), rounds_of({"rounds": rows})).words == (
        "1 disruptive discharge in 5 impulses: 5 further impulses needed before the sequence is judged."
    )
