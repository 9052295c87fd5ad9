"""Patterns of numbers; the expected texts are Python's own formatting written out by hand."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from labsite.people.services.numbering import check_pattern, has_year


@pytest.mark.parametrize(
    ("pattern", "expected"), [("C-{year}-{n:04d}", True), ("{n}/{year:d}", True), ("U-{n:05d}", False)]
)
def test_a_pattern_with_a_year_is_known(pattern, expected):
    check_pattern(pattern)
    assert has_year(pattern) is expected


def test_the_refusal_shows_the_pattern_and_the_mend():
    with pytest.raises(ValidationError) as refusal:
        check_pattern("C-{n")
    expected = "The pattern 'C-{n' cannot be filled in. Write it like C-{year}-{n:04d}."
    assert refusal.value.messages == [expected]


def test_a_pattern_that_reaches_into_objects_is_refused():
    with pytest.raises(ValidationError, match="names something else"):
        check_pattern("{n.real}")
