"""The table of parts: what it must hold for every kind, and which files count."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from records.evaluation.kinds import KINDS
from records.evaluation.parts import JOINED, PARTS, arranged, part_named, read_part, stated_by, usual_part
from records.evaluation.step import parse_step
from records.readers.names import WORDS
from records.readers.wanted import WANTED_BY_KIND, Wanted

ROW = st.tuples(st.sampled_from(["", "before", "after"]), st.integers())


def test_every_kind_has_its_parts_and_one_of_them_is_usual():
    assert set(PARTS) == set(KINDS)
    for kind, parts in PARTS.items():
        assert sum(part.is_usual for part in parts) == 1, kind
        assert len({part.name for part in parts}) == len(parts), kind
        assert all(len(part.name) <= 20 for part in parts), kind  # as the column of the table holds


def test_what_a_part_asks_and_states_is_known():
    for kind, parts in PARTS.items():
        for part in parts:
            assert set(part.channels) <= set(WORDS) | {"time_s", "frequency_hz"}, (kind, part.name)
            assert set(part.states) <= {key.name for key in KINDS[kind].keys}, (kind, part.name)
            parse_step({"kind": "frequency_response", **part.states})


def test_joined_kinds_are_those_whose_files_are_parts_of_one():
    assert {"power_frequency_withstand", "partial_discharge", "insulation_resistance", "temperature_rise"} == JOINED


@given(st.lists(ROW, max_size=8))
def test_the_newest_of_a_part_counts_and_before_goes_first(rows):
    files = [(name, place) for place, (name, _) in enumerate(rows)]
    found = arranged("capacitance", files)
    newest = {part_named("capacitance", name).name: place for name, place in files}
    assert [(part.name, place) for part, place in found] == [
        (name, newest[name]) for name in ("before", "after") if name in newest
    ]


@given(st.lists(st.just(""), max_size=6))
def test_every_impulse_counts_in_the_order_of_uploading(names):
    found = arranged("lightning_impulse", [(name, place) for place, name in enumerate(names)])
    assert [place for _, place in found] == list(range(len(names)))


def test_a_part_that_the_kind_does_not_know_counts_for_nothing():
    assert arranged("lightning_impulse", [("before", "a.csv")]) == []
    assert part_named("lightning_impulse", "before") is None


def test_a_reference_alone_is_judged_and_states_nothing():
    reference = part_named("frequency_response", "reference")
    assert stated_by([reference], 1) == {}
    assert stated_by([reference, usual_part("frequency_response")], 2) == {"compare": "reference"}


@pytest.mark.parametrize(
    ("kind", "part", "wanted"),
    [
        ("partial_discharge", "voltage", Wanted.of(("time_s", "voltage_kv"))),
        ("capacitance", "before", WANTED_BY_KIND["capacitance"]),
    ],
)
def test_a_file_is_read_for_what_its_part_needs(kind, part, wanted):
    class Read(Exception):
        pass

    def read(asked):
        assert asked == wanted
        raise Read

    with pytest.raises(Read):
        read_part(kind, part, read)
