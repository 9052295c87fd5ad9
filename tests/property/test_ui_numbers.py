"""What a page shows and what a finding says are rounded alike, though the look may not import the metrology."""

import re

from hypothesis import given
from hypothesis import strategies as st

from equipment.metrology.rounding import rounded
from labsite.ui.templatetags import ui

VALUES = st.floats(min_value=-1e9, max_value=1e9, allow_nan=False)
SPREADS = st.floats(min_value=1e-6, max_value=1e6)


def shown(*arguments):
    text = re.sub(r"<[^>]+>", "", ui.rounded_quantity(*arguments))
    return text.replace("\u2009", "").replace("\u2212", "-").split(" ± ")


@given(VALUES, SPREADS)
def test_a_value_with_its_uncertainty(value, spread):
    expected = rounded(value, spread)
    assert [text.lstrip("-") if not float(text) else text for text in shown(value, "", spread)] == [
        expected.value_text.lstrip("-") if not float(expected.value_text) else expected.value_text,
        expected.uncertainty_text,
    ]


@given(VALUES.filter(lambda value: value == 0 or abs(value) > 1e-6))
def test_a_value_alone(value):
    assert shown(value, "") == [rounded(value, None).value_text]
