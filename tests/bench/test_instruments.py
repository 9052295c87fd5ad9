"""The board and the backward trace of a large laboratory on PostgreSQL, against one read by primary key."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest
import time_machine
from django.db import connection, reset_queries
from django.test.utils import CaptureQueriesContext

from equipment.metrology.accuracy import ErrorCurve
from equipment.models import Instrument
from equipment.selectors import instrument_board
from records.evaluation.recomputing import WrongInstrument
from records.models import AffectedRun, NonconformingWork, Run
from records.selectors.impact import backward_trace
from records.services import assessing
from tests.bench import shelf

pytestmark = [pytest.mark.bench, pytest.mark.postgres, pytest.mark.slow]
TODAY, PAST = date(2026, 1, 15), date(2021, 6, 15)
MOST_S, MOST_RATIO, LEAST_RUNS_PER_S = 0.1, 20, 200


@pytest.fixture
def laboratory(transactional_db, tester, second_tester, approver, quality_manager, customer):
    if connection.vendor != "postgresql":
        pytest.skip("this is about PostgreSQL; `make bench` runs it there")
    people = {"tester": tester, "second": second_tester, "approver": approver, "quality": quality_manager}
    shelf.fill(people, customer)
    return people


def seconds(deed: Callable[[], object], times: int = 60) -> float:
    """Return the least of several runs, after one to warm up [s]: other work on the machine only ever adds."""
    deed()
    taken = []
    for _ in range(times):
        reset_queries()
        begun = time.perf_counter()
        deed()
        taken.append(time.perf_counter() - begun)
    return min(taken)


def test_the_board_the_trace_and_the_recomputation(laboratory):
    with time_machine.travel(datetime(TODAY.year, TODAY.month, TODAY.day, 9, tzinfo=UTC), tick=True):
        measured(laboratory["quality"])


def measured(viewer):
    assert viewer.is_laboratory
    assert (Instrument.objects.count(), Run.objects.count()) == (shelf.INSTRUMENTS, shelf.RUNS)
    floor = seconds(lambda: Run.objects.get(pk=200_000), 101)
    item = Instrument.objects.get(pk=77)
    since, until = date(2024, 6, 1), date(2025, 6, 1)
    with CaptureQueriesContext(connection) as queries:
        page = instrument_board(viewer, TODAY).rows[:50]
    assert (len(page), len(queries)) == (50, 3)
    board = seconds(lambda: instrument_board(viewer, TODAY).rows[:50])
    with CaptureQueriesContext(connection) as queries:
        then = instrument_board(viewer, PAST)
        assert len(then.rows[:50]) == 50
    assert len(queries) <= 5
    assert sum(then.counts.values()) == shelf.INSTRUMENTS
    past = seconds(lambda: instrument_board(viewer, PAST).rows[:50])
    found = list(backward_trace(item, since, until))
    assert len(found) == pytest.approx(shelf.RUNS / shelf.INSTRUMENTS / 10, abs=2)
    trace = seconds(lambda: list(backward_trace(item, since, until)))
    for name, taken in (("primary key", floor), ("board", board), ("past day", past), ("backward trace", trace)):
        print(f"{name}: {1000 * taken:.2f} ms, {taken / floor:.1f} times a read by primary key")
    speed = recomputed_per_second(viewer)
    print(f"recomputation: {speed:.0f} runs a second on one core")
    assert max(board, past, trace) < MOST_S
    assert speed > LEAST_RUNS_PER_S
    assert trace / floor <= MOST_RATIO
    assert board / floor <= MOST_RATIO
    assert past / floor <= MOST_RATIO


def recomputed_per_second(by) -> float:
    """Return how many runs one core recomputes and stores in a second, fetching included."""
    calibration = Instrument.objects.get(pk=77).calibrations.first()
    work = NonconformingWork.objects.create(
        calibration=calibration, to_on=calibration.calibrated_on, found="bench", opened_by=by
    )
    AffectedRun.objects.bulk_create(
        AffectedRun(work=work, run_id=shelf.RUNS - shelf.JUDGED + place, part=0.5)
        for place in range(1, shelf.JUDGED + 1)
    )
    wrong = [WrongInstrument("voltage", ErrorCurve("kV", (50.0,), (1.0,)))]
    begun = time.process_time()
    count = 0
    keys = list(work.runs.values_list("pk", flat=True))
    for first in range(0, len(keys), assessing.RUNS_A_PART):
        part = keys[first : first + assessing.RUNS_A_PART]
        count += assessing.store_part(assessing.recomputed(work, part[0], part[-1], wrong))
    assert count == shelf.JUDGED
    assert work.runs.filter(effect_constant="flips").exists()
    return count / (time.process_time() - begun)
